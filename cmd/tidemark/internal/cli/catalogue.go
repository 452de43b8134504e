package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/evidence/source"
	"tidemark/rules"
)

func newSigns(s *shared) *cobra.Command {
	var part, format string
	cmd := &cobra.Command{
		Use:   "signs [WORDS…]",
		Short: "Find what can be looked for, or show one sign",
		Long: `Signs lists what can be looked for on the parts of an engine. Words narrow the
list: each must stand in the sign's id, name or way of looking. A whole id
(oil_pickup.screen_clogged) shows one sign as a card: how to look, what destroys
it, and what shows it.`,
		Example: "  tidemark signs bearing heat\n  tidemark signs --part oil_pickup\n  tidemark signs oil_pickup.screen_clogged",
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			if part != "" && book.Part(part) == nil {
				return unknown("part", part, idsOf(book.Parts, func(p *rules.Part) string { return p.ID }))
			}
			out, opt := cmd.OutOrStdout(), report.Options{Width: s.env.Width}
			if len(args) == 1 && book.Sign(args[0]) != nil {
				if format == "json" {
					return writeJSON(out, report.SignJSON(book.Sign(args[0])))
				}
				return report.SignCard(out, book, book.Sign(args[0]), opt)
			}
			var found []*rules.Sign
			for _, x := range book.Signs {
				if part != "" && x.Part.ID != part || !matches(args, x.ID, x.Title(), x.Look) {
					continue
				}
				found = append(found, x)
			}
			slices.SortFunc(found, func(a, b *rules.Sign) int { return strings.Compare(a.ID, b.ID) })
			if len(found) == 0 {
				among := "sign"
				if part != "" {
					among = "sign of " + part
				}
				return noMatch(among, args, idsOf(book.Signs, func(x *rules.Sign) string { return x.ID }), func(word string) bool {
					return slices.ContainsFunc(book.Signs, func(x *rules.Sign) bool { return matches([]string{word}, x.ID, x.Title(), x.Look) })
				})
			}
			if format == "json" {
				list := []report.SignInfo{}
				for _, x := range found {
					list = append(list, report.SignJSON(x))
				}
				return writeJSON(out, list)
			}
			return report.SignList(out, found, opt)
		},
	}
	cmd.Flags().StringVar(&part, "part", "", "only signs of this `part`")
	formatFlag(cmd, &format)
	return cmd
}

func newCauses(s *shared) *cobra.Command {
	var category, format string
	var steps bool
	cmd := &cobra.Command{
		Use:   "causes [WORDS…]",
		Short: "Find causes and steps, or show one as a pattern card",
		Long: `Causes lists what can kill an engine. Words narrow the list. A whole id shows
one cause or step as a pattern card: what it leads to and why, what it shows,
what it is mistaken for.`,
		Example: "  tidemark causes sealant\n  tidemark causes --category maintenance\n  tidemark causes pickup_blocked",
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			if category != "" && !slices.Contains(rules.Categories, category) {
				return unknown("category", category, rules.Categories)
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			out, opt := cmd.OutOrStdout(), report.Options{Width: s.env.Width}
			if len(args) == 1 && book.Node(args[0]) != nil {
				if format == "json" {
					return writeJSON(out, report.NodeJSON(book.Node(args[0])))
				}
				return report.NodeCard(out, book, book.Node(args[0]), opt)
			}
			var found []*rules.Node
			for _, n := range book.Nodes {
				if n.Kind == rules.Condition && category == "" && !steps && len(args) == 0 {
					continue
				}
				if n.Kind == rules.Step && !steps && len(args) == 0 || category != "" && n.Category != category || !matches(args, n.ID, n.Name, n.Note) {
					continue
				}
				found = append(found, n)
			}
			slices.SortFunc(found, func(a, b *rules.Node) int { return strings.Compare(a.ID, b.ID) })
			if len(found) == 0 {
				among := "cause or step"
				if category != "" {
					among = category + " cause"
				}
				return noMatch(among, args, idsOf(book.Nodes, func(n *rules.Node) string { return n.ID }), func(word string) bool {
					return slices.ContainsFunc(book.Nodes, func(n *rules.Node) bool { return matches([]string{word}, n.ID, n.Name, n.Note) })
				})
			}
			if format == "json" {
				list := []report.NodeInfo{}
				for _, n := range found {
					list = append(list, report.NodeJSON(n))
				}
				return writeJSON(out, list)
			}
			return report.NodeList(out, found, opt)
		},
	}
	cmd.Flags().StringVar(&category, "category", "", "only causes of this `category`: "+strings.Join(rules.Categories, ", "))
	cmd.Flags().BoolVar(&steps, "steps", false, "list steps and conditions too")
	formatFlag(cmd, &format)
	return cmd
}

// matches tells whether every word stands in one of the texts; _ counts as a
// space.
func matches(words []string, texts ...string) bool {
	all := strings.ToLower(strings.ReplaceAll(strings.Join(texts, " "), "_", " "))
	for _, w := range words {
		if !strings.Contains(all, strings.ToLower(strings.ReplaceAll(w, "_", " "))) {
			return false
		}
	}
	return true
}

// unknown tells that a word which must be one of some is none of them.
func unknown(what, word string, known []string) error {
	hint := source.Suggest(word, known)
	if hint == "" && len(known) <= 10 {
		hint = "one of: " + strings.Join(known, ", ")
	}
	return inputError{errors.New(hinted(fmt.Sprintf("there is no %s %q", what, word), hint))}
}

// noMatch tells that nothing has all the words that were asked for. The hint is
// for a whole id, else for the first word that stands nowhere.
func noMatch(what string, words, ids []string, somewhere func(word string) bool) error {
	if len(words) == 0 {
		return inputError{fmt.Errorf("there is no %s", what)}
	}
	hint := ""
	for _, w := range words {
		if somewhere(w) {
			continue
		}
		if hint = source.Suggest(w, ids); strings.ContainsAny(w, "._") && hint != "" {
			break
		}
		if hint = source.Suggest(w, wordsOf(ids)); hint != "" {
			break
		}
	}
	if hint == "" && len(words) > 1 {
		hint = "all of the words must be in it; try fewer"
	}
	return inputError{errors.New(hinted(fmt.Sprintf("no %s matches %q", what, strings.Join(words, " ")), hint))}
}

func hinted(msg, hint string) string {
	if hint == "" {
		return msg
	}
	return msg + " (" + hint + ")"
}

// wordsOf lists the single words of ids, each once.
func wordsOf(ids []string) []string {
	var out []string
	for _, id := range ids {
		for _, w := range strings.FieldsFunc(id, func(r rune) bool { return r == '_' || r == '.' }) {
			if len(w) > 2 {
				out = append(out, w)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func idsOf[T any](list []T, id func(T) string) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = id(x)
	}
	slices.Sort(out)
	return out
}
