package main

import (
	"fmt"
	"os"

	"tidemark/evidence/source"
	"tidemark/rules"
)

func main() {
	var f source.Faults
	b := rules.Load(&f, rules.ReadDir(os.Args[1], &f))
	for _, x := range f.List() {
		fmt.Println(x)
	}
	if b != nil {
		fmt.Printf("%+v\n", b.Size())
	}
}
