package source

import (
	"os"
	"path/filepath"
	"testing"
)

// Reading every pack of the built-in book, every table of it.
func BenchmarkParse(b *testing.B) {
	files, err := filepath.Glob("../../rules/packs/*.toml")
	if err != nil || len(files) == 0 {
		b.Fatal("no packs")
	}
	var texts [][]byte
	size := 0
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			b.Fatal(err)
		}
		texts = append(texts, text)
		size += len(text)
	}
	var walk func(t *Table)
	walk = func(t *Table) {
		for _, k := range t.Keys() {
			if _, ok := t.Any(k).(map[string]any); ok {
				walk(t.Table(k))
			}
		}
		t.Done()
	}
	b.SetBytes(int64(size))
	b.ReportAllocs()
	for b.Loop() {
		for i, text := range texts {
			var faults Faults
			root, ok := Parse(files[i], text, &faults)
			if !ok {
				b.Fatal(faults.Error())
			}
			walk(root)
		}
	}
}
