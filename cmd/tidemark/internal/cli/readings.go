package cli

import (
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
	"tidemark/engine/measure"
	"tidemark/evidence/source"
	"tidemark/rules"
)

func newReadings(s *shared) *cobra.Command {
	var format string
	var with caseFlags
	cmd := &cobra.Command{
		Use:   "readings [CASE]",
		Short: "Hold what was measured against its limits",
		Long: `Readings tells every value that was measured in a case, or that is worked out
from what was (clearance, taper, spread between cylinders), with its uncertainty,
its limit and whose that is, the margin, and what is to be done with the part.
Values of one kind stand together, with a line that shows the odd one out.

Limits come from the case ([limit.…]), from a shop's file of limits (--limits, or
limits = ["file.toml"] under [case]), or are a rule of the trade, and say so.`,
		Example: "  tidemark readings case.toml\n  tidemark readings case.toml --limits our-engines/bw6.toml",
		Args:    atMost(1, "one case file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			var faults source.Faults
			book, c, err := with.open(s, cmd, args, &faults)
			if err != nil {
				return err
			}
			warn(cmd.ErrOrStderr(), &faults)
			s.stdinHint(cmd, args)
			table := measure.New(book, c)
			if format == "json" {
				values, left := engine.Readings(book, c, table)
				return writeJSON(cmd.OutOrStdout(), report.ReadingsJSON{Schema: report.ReadingsSchema, Case: c.ID, Readings: values, Comparisons: engine.Comparisons(table), Left: left})
			}
			return report.Readings(cmd.OutOrStdout(), c, table, s.options(false, false, len(args) == 0))
		},
		ValidArgsFunction: caseThen(nil),
	}
	formatFlag(cmd, &format)
	with.flags(cmd)
	return cmd
}

func newQuantities(s *shared) *cobra.Command {
	var part, format string
	cmd := &cobra.Command{
		Use:   "quantities [WORDS…]",
		Short: "Find what can be measured, or show one quantity",
		Long: `Quantities lists what can be measured of an engine, and what is worked out from
that: the names that stand behind "of" in a reading. Words narrow the list. A
whole id (rod_journal.diameter) shows one as a card: how to take it, with what, how
far that can be trusted, and which limits the trade knows.`,
		Example: "  tidemark quantities clearance\n  tidemark quantities --part oil\n  tidemark quantities rod_journal.diameter",
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
			if len(args) == 1 && book.Quantity(args[0]) != nil {
				if format == "json" {
					return writeJSON(out, report.QuantityJSON(book, book.Quantity(args[0])))
				}
				return report.QuantityCard(out, book, book.Quantity(args[0]), opt)
			}
			var among []*rules.Quantity
			for _, q := range book.Quantities {
				if part == "" || q.Part.ID == part {
					among = append(among, q)
				}
			}
			what := "quantity"
			if part != "" {
				what = "quantity of " + part
			}
			list, err := catalogue[*rules.Quantity]{among, what, quantityTexts, book.SuggestQuantity, wordsOfQuantities(book), func(s search) string {
				if _, most := found(s, book.Signs, signTexts); most == len(s.words) {
					return "tidemark signs"
				}
				return ""
			}}.look(cmd, args)
			if err != nil {
				return err
			}
			slices.SortFunc(list, func(a, b *rules.Quantity) int { return strings.Compare(a.ID, b.ID) })
			if format == "json" {
				infos := []report.QuantityInfo{}
				for _, q := range list {
					infos = append(infos, report.QuantityJSON(book, q))
				}
				return writeJSON(out, infos)
			}
			return report.QuantityList(out, list, opt)
		},
	}
	cmd.ValidArgsFunction = s.ids(quantityIDs)
	cmd.Flags().StringVar(&part, "part", "", "only quantities of this `part`")
	_ = cmd.RegisterFlagCompletionFunc("part", s.ids(partIDs))
	formatFlag(cmd, &format)
	return cmd
}

// quantityTexts are what is searched of a quantity.
func quantityTexts(q *rules.Quantity) texts {
	return texts{slices.Concat([]string{q.ID, q.Title()}, q.Also, q.Part.Also), []string{q.Look, q.Because}}
}

func wordsOfQuantities(b *rules.Book) []string {
	var texts []string
	for _, q := range b.Quantities {
		texts = append(texts, slices.Concat([]string{q.ID}, q.Also, q.Part.Also)...)
	}
	return longer(texts)
}
