package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine/practice"
	"tidemark/evidence/source"
	"tidemark/rules"
)

func newCompare(s *shared) *cobra.Command {
	var engine string
	cmd := &cobra.Command{
		Use:   "compare A B",
		Short: "Show what tells two causes or steps apart, as a study card",
		Long: `Compare takes two causes or steps, by id or in words, and shows which signs speak for
the one and which for the other, those that tell most first: how often each is found,
why, how to look, and before what.`,
		Example: "  tidemark compare sealant_excess oil_overdue\n  tidemark compare \"oil pump worn\" pickup_blocked --engine tractor",
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 {
				return inputError{fmt.Errorf("compare takes two causes or steps, and is given %d (put words in quotes)", len(args))}
			}
			if engine != "" && !slices.Contains(practice.Engines(), engine) {
				return unknown("engine for practice", engine, practice.Engines())
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			var two []*rules.Node
			for _, a := range args {
				n, err := theNode(book, a)
				if err != nil {
					return err
				}
				two = append(two, n)
			}
			if two[0] == two[1] {
				return inputError{fmt.Errorf("%s is the same as itself: give two", two[0].ID)}
			}
			c, err := practice.Compare(book, two[0], two[1], engine)
			if errors.Is(err, practice.ErrNoEngine) {
				return inputError{fmt.Errorf("%s and %s: %w", two[0].ID, two[1].ID, err)}
			}
			if err != nil {
				return err
			}
			return report.Compared(cmd.OutOrStdout(), book, c, report.Options{Width: s.env.Width})
		},
	}
	cmd.Flags().StringVar(&engine, "engine", "", "on this `engine`: "+strings.Join(practice.Engines(), ", "))
	return cmd
}

// theNode is the one cause or step that a text names.
func theNode(book *rules.Book, text string) (*rules.Node, error) {
	list := named(book.Nodes, text, func(n *rules.Node) string { return n.ID }, func(n *rules.Node) string { return n.Name }, nodeTexts)
	switch {
	case len(list) == 1:
		return list[0], nil
	case len(list) == 0:
		if hint := source.Suggest(text, idsOf(book.Nodes, func(n *rules.Node) string { return n.ID })); hint != "" {
			return nil, inputError{errors.New(hinted(fmt.Sprintf("there is no cause or step %q", text), hint))}
		}
		return nil, inputError{errors.New(hinted(fmt.Sprintf("there is no cause or step %q", text), suggestWord(text, wordsOfNodes(book))))}
	}
	ids := idsOf(list, func(n *rules.Node) string { return n.ID })
	if len(ids) > mostAtOnce {
		return nil, inputError{fmt.Errorf("%q fits %d causes and steps: say more words", text, len(ids))}
	}
	return nil, inputError{fmt.Errorf("%q may be any of: %s", text, strings.Join(ids, ", "))}
}

// suggestWord says what was probably meant by the first word that is none of the
// known.
func suggestWord(text string, known []string) string {
	for _, w := range newSearch([]string{text}).words {
		if !slices.ContainsFunc(known, func(k string) bool { return begins(k, w) }) {
			if hint := source.Suggest(w, known); hint != "" {
				return hint
			}
		}
	}
	return ""
}
