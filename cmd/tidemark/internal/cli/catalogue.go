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
list: each must begin a word of the sign's name or of what else people call it
or its part; where that finds nothing, of its way of looking. Endings do not
matter. A whole id
(oil_pickup.screen_clogged) shows one sign as a card: how to look, what destroys
it, and what shows it.`,
		Example: "  tidemark signs bearing blue\n  tidemark signs torn screen\n  tidemark signs --part oil_pickup\n  tidemark signs oil_pickup.screen_clogged",
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			if part != "" && book.Part(part) == nil {
				return inputError{errors.New(noPart(book, part))}
			}
			out, opt := cmd.OutOrStdout(), s.options(false, false, false)
			if len(args) == 1 && book.Sign(args[0]) != nil {
				if format == "json" {
					return writeJSON(out, report.SignJSON(book.Sign(args[0])))
				}
				return report.SignCard(out, book, book.Sign(args[0]), opt)
			}
			var among []*rules.Sign
			for _, x := range book.Signs {
				if part == "" || x.Part.ID == part {
					among = append(among, x)
				}
			}
			what := "sign"
			if part != "" {
				what = "sign of " + part
			}
			list, err := catalogue[*rules.Sign]{among, what, signTexts, book.SuggestSign, wordsOfSigns(book), func(s search) string {
				if _, most := found(s, book.Nodes, nodeTexts); most == len(s.words) {
					return "tidemark causes"
				}
				return ""
			}}.look(cmd, args)
			if err != nil {
				return err
			}
			slices.SortFunc(list, func(a, b *rules.Sign) int { return strings.Compare(a.ID, b.ID) })
			if format == "json" {
				infos := []report.SignInfo{}
				for _, x := range list {
					infos = append(infos, report.SignJSON(x))
				}
				return writeJSON(out, infos)
			}
			return report.SignList(out, list, opt)
		},
	}
	cmd.ValidArgsFunction = s.ids(signIDs)
	cmd.Flags().StringVar(&part, "part", "", "only signs of this `part`")
	_ = cmd.RegisterFlagCompletionFunc("part", s.ids(partIDs))
	formatFlag(cmd, &format)
	return cmd
}

func newCauses(s *shared) *cobra.Command {
	var category, format string
	var steps, outcomes bool
	cmd := &cobra.Command{
		Use:   "causes [WORDS…]",
		Short: "Find causes and steps, or show one as a pattern card",
		Long: `Causes lists what can kill an engine. Words narrow the list, and find steps as
well. A whole id shows one cause or step as a pattern card: what it leads to and
why, what it shows, what it is mistaken for. With --outcomes it lists what the
question of a case can be.`,
		Example: "  tidemark causes sealant\n  tidemark causes --category maintenance\n  tidemark causes --outcomes\n  tidemark causes pickup_blocked",
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			if category != "" && !slices.Contains(rules.Categories, category) {
				return unknown("category", category, rules.Categories)
			}
			if outcomes && category != "" {
				return inputError{errors.New("--outcomes lists steps, and only causes have a --category")}
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			out, opt := cmd.OutOrStdout(), s.options(false, false, false)
			if len(args) == 1 && book.Node(args[0]) != nil {
				if format == "json" {
					return writeJSON(out, report.NodeJSON(book.Node(args[0])))
				}
				return report.NodeCard(out, book, book.Node(args[0]), opt)
			}
			var among []*rules.Node
			for _, n := range book.Nodes {
				switch {
				case outcomes && !n.Outcome,
					category != "" && n.Category != category,
					n.Kind != rules.Cause && !steps && !outcomes && len(args) == 0:
					continue
				}
				among = append(among, n)
			}
			what := "cause or step"
			switch {
			case category != "":
				what = category + " cause"
			case outcomes:
				what = "outcome"
			}
			ids := idsOf(book.Nodes, func(n *rules.Node) string { return n.ID })
			suggest := func(id string) string { return source.Suggest(id, ids) }
			list, err := catalogue[*rules.Node]{among, what, nodeTexts, suggest, wordsOfNodes(book), func(s search) string {
				if _, most := found(s, book.Signs, signTexts); most == len(s.words) {
					return "tidemark signs"
				}
				return ""
			}}.look(cmd, args)
			if err != nil {
				return err
			}
			slices.SortFunc(list, func(a, b *rules.Node) int { return strings.Compare(a.ID, b.ID) })
			if format == "json" {
				infos := []report.NodeInfo{}
				for _, n := range list {
					infos = append(infos, report.NodeJSON(n))
				}
				return writeJSON(out, infos)
			}
			if outcomes {
				return report.OutcomeList(out, list, opt)
			}
			return report.NodeList(out, list, opt)
		},
	}
	cmd.ValidArgsFunction = s.ids(nodeIDs)
	cmd.Flags().StringVar(&category, "category", "", "only causes of this `category`: "+strings.Join(rules.Categories, ", "))
	cmd.Flags().BoolVar(&steps, "steps", false, "list steps and conditions too")
	cmd.Flags().BoolVar(&outcomes, "outcomes", false, "list what a case can ask about")
	formatFlag(cmd, &format)
	return cmd
}

// signTexts and nodeTexts are what is searched of a sign, and of a cause or step.
func signTexts(s *rules.Sign) texts {
	return texts{slices.Concat([]string{s.ID, s.Title()}, s.Also, s.Part.Also), []string{s.Look}}
}

func nodeTexts(n *rules.Node) texts {
	return texts{append([]string{n.ID, n.Name}, n.Also...), []string{n.Note}}
}

// wordsOfSigns and wordsOfNodes are the words that one may have meant.
func wordsOfSigns(b *rules.Book) []string {
	var texts []string
	for _, s := range b.Signs {
		texts = append(texts, slices.Concat([]string{s.ID}, s.Also, s.Part.Also)...)
	}
	return longer(texts)
}

func wordsOfNodes(b *rules.Book) []string {
	var texts []string
	for _, n := range b.Nodes {
		texts = append(texts, append([]string{n.ID}, n.Also...)...)
	}
	return longer(texts)
}

// longer lists the words of texts that are worth suggesting, each once.
func longer(texts []string) []string {
	out := slices.DeleteFunc(words(strings.Join(texts, " ")), func(w string) bool { return len(w) < 3 })
	slices.Sort(out)
	return slices.Compact(out)
}

// catalogue is a list that can be searched.
type catalogue[T any] struct {
	things    []T
	what      string // one of them, as "sign"
	texts     func(T) texts
	suggest   func(id string) string // which id was probably meant
	known     []string               // words that one may have meant
	elsewhere func(search) string    // the command that finds it in another list
}

// look searches the list. Where nothing has all the words it says so, and gives
// what has the most of them; where nothing has any, it says what was probably
// meant: an id, another list, or for the first word that stands nowhere the
// nearest that does.
func (c catalogue[T]) look(cmd *cobra.Command, args []string) ([]T, error) {
	s := newSearch(args)
	if len(s.words) == 0 {
		if len(args) > 0 {
			return nil, inputError{fmt.Errorf("there is nothing in %q to search for (small words are left out)", strings.Join(args, " "))}
		}
		if len(c.things) == 0 {
			return nil, inputError{fmt.Errorf("there is no %s", c.what)}
		}
		return c.things, nil
	}
	list, most := found(s, c.things, c.texts)
	if most == len(s.words) {
		return list, nil
	}
	hint := ""
	if len(args) == 1 && strings.ContainsAny(args[0], "._") {
		hint = sensible(args[0], c.suggest(args[0]), func(id string) []string {
			for _, x := range c.things {
				if t := c.texts(x); t.names[0] == id {
					return t.names
				}
			}
			return nil
		})
	}
	if other := c.elsewhere(s); hint == "" && other != "" {
		hint = other + " " + strings.Join(args, " ") + " finds some"
	}
	for _, w := range s.words {
		if _, n := found(search{[]string{w}}, c.things, c.texts); hint == "" && n == 0 {
			hint = nearest(w, c.known)
		}
	}
	if most == 0 || len(args) == 1 && strings.ContainsAny(args[0], "._") {
		if hint == "" {
			hint = "other words may find it; " + cmd.CommandPath() + " alone lists all"
		}
		return nil, inputError{errors.New(hinted(fmt.Sprintf("no %s matches %q", c.what, strings.Join(args, " ")), hint))}
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "tidemark: %s\n", hinted(fmt.Sprintf("no %s has all of these words; shown is what has %d of %d", c.what, most, len(s.words)), hint))
	return list, nil
}

// unknown tells that a word which must be one of some is none of them.
func unknown(what, word string, known []string) error {
	hint := nearest(word, known)
	if hint == "" && len(known) <= 10 {
		hint = "one of: " + strings.Join(known, ", ")
	}
	return inputError{errors.New(hinted(fmt.Sprintf("there is no %s %q", what, word), hint))}
}

func hinted(msg, hint string) string {
	if hint == "" {
		return msg
	}
	return msg + " (" + hint + ")"
}

func idsOf[T any](list []T, id func(T) string) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = id(x)
	}
	slices.Sort(out)
	return out
}
