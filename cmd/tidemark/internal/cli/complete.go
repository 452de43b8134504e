package cli

import (
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// caseThen completes a case file, and after it whatever more lists.
func caseThen(more func(args []string, word string) []string) cobra.CompletionFunc {
	return func(cmd *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
		switch {
		case len(args) == 0:
			return []string{"toml"}, cobra.ShellCompDirectiveFilterFileExt
		case len(args) == 1 && more != nil:
			return more(args, word), cobra.ShellCompDirectiveNoFileComp
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
}

// claims lists what can be argued about a case: causes, steps, kinds, and after an @
// the places of one.
func (s *shared) claims(args []string, word string) []string {
	book, err := s.book()
	if err != nil {
		return nil
	}
	if id, _, placed := strings.Cut(word, "@"); placed {
		n := book.Node(id)
		if n == nil || len(args) == 0 {
			return nil
		}
		return placesOf(n, args[0])
	}
	var out []string
	for _, n := range book.Nodes {
		if n.Kind != rules.Condition && strings.HasPrefix(n.ID, word) {
			out = append(out, n.ID+"\t"+n.Name)
		}
	}
	for _, k := range append(kinds(), "unlisted") {
		if strings.HasPrefix(k, word) {
			out = append(out, k)
		}
	}
	return out
}

// placesOf lists the places of a cause or step in the engine of a case file.
func placesOf(n *rules.Node, file string) []string {
	f, err := os.Open(file)
	if err != nil {
		return nil
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, source.MaxSize))
	if err != nil {
		return nil
	}
	var faults source.Faults
	c, _ := evidence.Parse(file, text, &faults)
	if c == nil || n.Per == evidence.One {
		return nil
	}
	count, _ := c.Engine.Count(n.Per)
	var out []string
	for i := 1; i <= count; i++ {
		out = append(out, n.ID+"@"+c.Engine.Name(n.Per, i))
	}
	return out
}

// ids completes the ids of one list of the book.
func (s *shared) ids(list func(*rules.Book) [][2]string) cobra.CompletionFunc {
	return func(cmd *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
		book, err := s.book()
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		var out []string
		for _, x := range list(book) {
			if strings.HasPrefix(x[0], word) {
				out = append(out, x[0]+"\t"+x[1])
			}
		}
		return out, cobra.ShellCompDirectiveNoFileComp
	}
}

func signIDs(b *rules.Book) [][2]string {
	var out [][2]string
	for _, s := range b.Signs {
		out = append(out, [2]string{s.ID, s.Title()})
	}
	return out
}

func nodeIDs(b *rules.Book) [][2]string {
	var out [][2]string
	for _, n := range b.Nodes {
		out = append(out, [2]string{n.ID, n.Name})
	}
	return out
}

func quantityIDs(b *rules.Book) [][2]string {
	var out [][2]string
	for _, q := range b.Quantities {
		out = append(out, [2]string{q.ID, q.Title()})
	}
	return out
}

func partIDs(b *rules.Book) [][2]string {
	var out [][2]string
	for _, p := range b.Parts {
		out = append(out, [2]string{p.ID, p.Name})
	}
	return out
}
