package rules

import (
	"testing"

	"tidemark/evidence/source"
)

// Loading the built-in book from its packs.
func BenchmarkLoad(b *testing.B) {
	texts := Embedded()
	b.ReportAllocs()
	for b.Loop() {
		var faults source.Faults
		if Load(&faults, texts) == nil {
			b.Fatal(faults.Error())
		}
	}
}

// The same, read from the texts of the packs, as all other packs are.
func BenchmarkLoadPacks(b *testing.B) {
	layers := [][]Text{Embedded()}
	b.ReportAllocs()
	for b.Loop() {
		var faults source.Faults
		if loadPacks("", layers, &faults) == nil {
			b.Fatal(faults.Error())
		}
	}
}
