package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/rules"
)

func newWhy(s *shared) *cobra.Command {
	var format, over string
	var full, numbers bool
	var limit limits
	var with caseFlags
	cmd := &cobra.Command{
		Use:   "why [CASE] CAUSE",
		Short: "Say what speaks for and against one cause, or for one over another",
		Long: `Why tells the argument for and against one candidate, finding by finding,
strongest first, with the reason of each; of what is there and not to blame it says
why not. A candidate is a cause or step of the book, a place of one
(rod_bolt_loose@"rod 3", rod_bolt_loose@"no 3 cylinder"), unlisted, or a kind of
cause: ` + strings.Join(kinds(), ", ") + `.
With --over it tells only what tells the two apart, and which look not yet made would
do it best. Without a file it is about the built-in example.`,
		Example: "  tidemark why case.toml pickup_blocked\n  tidemark why case.toml sealant_excess --over oil_overdue\n  tidemark why case.toml assembly --numbers",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return inputError{errors.New("why needs a cause to argue about: tidemark why case.toml CAUSE")}
			}
			return atMost(2, "a case file and a cause")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			file, of := args[:len(args)-1], args[len(args)-1]
			if len(file) == 0 && strings.HasSuffix(of, ".toml") {
				return inputError{fmt.Errorf("why needs a cause to argue about: tidemark why %s CAUSE", of)}
			}
			if id, _, _ := strings.Cut(of, "@"); strings.TrimSpace(id) == "" {
				return inputError{fmt.Errorf("why needs a cause to argue about, and %q names none: tidemark why case.toml CAUSE", of)}
			}
			return s.solve(cmd, file, format, &with, &limit, func(ctx context.Context, book *rules.Book, c *evidence.Case) (any, show, error) {
				a, err := engine.Argue(ctx, book, c, claimed(book, of), claimed(book, over), engine.Options{Version: s.env.Version, Memory: limit.memory << 20})
				var no *engine.NoClaim
				switch {
				case errors.As(err, &no):
					err = inputError{errors.New(hinted(err.Error(), suggestClaim(book, no.ID)))}
				case engine.IsClaim(err):
					err = inputError{err}
				}
				return a, func(w io.Writer) error {
					return report.Why(w, book, a, s.options(full, numbers, len(file) == 0))
				}, err
			})
		},
		ValidArgsFunction: caseThen(s.claims),
	}
	formatFlag(cmd, &format)
	cmd.Flags().StringVar(&over, "over", "", "tell what speaks for it rather than for this `OTHER`")
	_ = cmd.RegisterFlagCompletionFunc("over", func(cmd *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
		return s.claims(args, word), cobra.ShellCompDirectiveNoFileComp
	})
	cmd.Flags().BoolVar(&full, "full", false, "give the source of every step of the way")
	cmd.Flags().BoolVar(&numbers, "numbers", false, "give weights in decibans beside the words")
	with.flags(cmd)
	limit.flags(cmd)
	return cmd
}

// claimed is the id that words stand for: themselves, where they are one, or else that of
// the only thing of that name.
func claimed(b *rules.Book, text string) string {
	id, at, placed := strings.Cut(text, "@")
	id = strings.TrimSpace(id)
	if slices.Contains(kinds(), strings.ToLower(id)) || strings.EqualFold(id, "unlisted") {
		return strings.ToLower(text)
	}
	if b.Node(id) != nil || id == "" {
		return text
	}
	for _, n := range b.Nodes {
		if strings.EqualFold(n.Name, id) {
			if placed {
				return n.ID + "@" + at
			}
			return n.ID
		}
	}
	// As the screens say it: "rod bearing wiped, rod 3".
	if cut := strings.LastIndex(text, ", "); cut > 0 && !placed {
		for _, n := range b.Nodes {
			if name := strings.TrimSpace(text[:cut]); strings.EqualFold(n.Name, name) || n.ID == name {
				return n.ID + "@" + text[cut+2:]
			}
		}
	}
	return text
}

// kinds are the kinds of cause that can be argued about.
func kinds() []string {
	return slices.DeleteFunc(slices.Clone(rules.Categories), func(c string) bool { return c == rules.Artefact })
}

// suggestClaim is what was probably meant by a candidate that does not exist, or how to
// search for it.
func suggestClaim(b *rules.Book, id string) string {
	ids := append(idsOf(b.Nodes, func(n *rules.Node) string { return n.ID }), append(kinds(), "unlisted")...)
	if hint := slip(id, ids); hint != "" {
		return hint
	}
	s := newSearch([]string{id})
	var fits []string
	for _, n := range b.Nodes {
		if len(s.words) > 0 && s.hits(nodeTexts(n).names...) == len(s.words) {
			fits = append(fits, n.ID)
		}
	}
	switch {
	case len(fits) == 1:
		return "did you mean " + strconv.Quote(fits[0]) + "?"
	case len(fits) > 1:
		return fmt.Sprintf("tidemark causes %s finds %d", strings.Join(strings.Fields(strings.ReplaceAll(id, "_", " ")), " "), len(fits))
	}
	return "tidemark causes WORDS searches for them"
}
