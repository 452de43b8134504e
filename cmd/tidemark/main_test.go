package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

var update = flag.Bool("update", false, "write the golden files anew")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"tidemark": main})
}

// The commands as a person types them; what they print stands in the scripts.
func TestCommands(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", UpdateScripts: *update})
}

// blocks are the fenced blocks of README.md, by what stands after the fence.
func blocks(t *testing.T) map[string][]string {
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	out := map[string][]string{}
	for _, m := range regexp.MustCompile("(?ms)^```([a-z ]+)\n(.*?)^```$").FindAllStringSubmatch(string(text), -1) {
		out[m[1]] = append(out[m[1]], m[2])
	}
	return out
}

// Every block of the README is carried out: cases load and are worked out,
// packs load over the book and their examples hold, commands run.
func TestReadme(t *testing.T) {
	b := blocks(t)
	require.Len(t, b, 3, "a kind of block that this test does not know")
	dir := t.TempDir()
	t.Setenv("XDG_DATA_HOME", dir)
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "my-packs"), 0o755))
	require.NotEmpty(t, b["toml case"])
	for i, text := range b["toml case"] {
		path := filepath.Join(dir, "case.toml")
		if i > 0 {
			path = filepath.Join(dir, "second.toml")
		}
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		if strings.Contains(text, "[confirmed]") {
			require.NoError(t, os.MkdirAll(filepath.Join(dir, "closed"), 0o755))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "closed", "case.toml"), []byte(text), 0o644))
		}
		out, errs, status := runIn(dir, "diagnose", filepath.Base(path))
		assert.Equal(t, 0, status, errs)
		assert.Contains(t, out, "VERDICT")
	}
	require.NotEmpty(t, b["toml pack"])
	for _, text := range b["toml pack"] {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "my-packs", "own.toml"), []byte(text), 0o644))
	}
	ran := 0
	for _, text := range b["sh"] {
		for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
			line, isRun := strings.CutPrefix(line, "go run ./cmd/tidemark")
			if !isRun {
				if line == "go test ./..." {
					continue // this is it
				}
				var ok bool
				line, ok = strings.CutPrefix(line, "tidemark")
				require.True(t, ok, "what is %q?", line)
			}
			_, errs, status := runIn(dir, strings.Fields(line)...)
			assert.Equal(t, 0, status, "%s: %s", line, errs)
			ran++
		}
	}
	assert.GreaterOrEqual(t, ran, 8)
}

func runIn(dir string, args ...string) (out, errs string, status int) {
	was, err := os.Getwd()
	if err != nil {
		return "", err.Error(), 1
	}
	for i, a := range args {
		if dir != "" && slices.Contains([]string{"case.toml", "second.toml", "my-packs", "closed", "claim.pdf", "claim.html", "photos.pdf", "custody.pdf", "sheet.pdf", "."}, a) {
			args[i] = filepath.Join(dir, a)
		}
	}
	_ = was
	var o, e bytes.Buffer
	status = run(context.Background(), args, strings.NewReader(""), &o, &e)
	return o.String(), e.String(), status
}

// The example's JSON has every key of the contract, and the same run gives the
// same bytes.
func TestDemoJSON(t *testing.T) {
	out, errs, status := runIn("", "diagnose", "--format", "json")
	require.Equal(t, 0, status, errs)
	var d map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &d))
	for _, path := range []string{
		"schema", "case.id", "case.question", "case.engine", "verdict.standing", "verdict.names", "verdict.together", "verdict.blame", "verdict.words", "verdict.behind", "verdict.better_question",
		"causes.0.id", "causes.0.at", "causes.0.name", "causes.0.category", "causes.0.present", "causes.0.acted", "causes.0.blame", "causes.0.words",
		"steps.0.id", "steps.0.at", "steps.0.name", "steps.0.present", "steps.0.acted", "steps.0.blame", "conditions", "together", "conflict.value", "conflict.findings",
		"chain.0.id", "chain.0.at", "chain.0.kind", "chain.0.probability", "chain.0.because", "chain.0.source", "chain.0.findings",
		"findings.0.id", "findings.0.sign", "findings.0.at", "findings.0.state", "findings.0.by", "findings.0.sure", "findings.0.role", "findings.0.explained_by", "findings.0.counted", "findings.0.weight", "findings.0.group",
		"groups", "not_explained", "next.0.sign", "next.0.at", "next.0.bits", "next.0.minutes", "next.0.destroyed_by", "next.0.if_seen", "next.0.if_not_found", "next.0.caution",
		"stop.worth_going_on", "stop.why", "overturned_by.rules", "overturned_by.findings", "overturned_by.looks", "assumed", "book.packs.0.id", "book.packs.0.version", "book.hash",
		"method.exact", "method.width", "method.error_bound", "program.version",
	} {
		at := any(d)
		for _, key := range strings.Split(path, ".") {
			switch x := at.(type) {
			case map[string]any:
				v, ok := x[key]
				require.True(t, ok, "the JSON has no %s", path)
				at = v
			case []any:
				require.NotEmpty(t, x, "%s is empty", path)
				at = x[0]
			}
		}
	}
	again, _, _ := runIn("", "diagnose", "--format", "json")
	assert.Equal(t, out, again)
}

// The built-in example is as large and as mixed as real cases are.
func TestDemoCase(t *testing.T) {
	text, err := os.ReadFile("internal/cli/demo.toml")
	require.NoError(t, err)
	var faults source.Faults
	c, ok := evidence.Parse("demo.toml", text, &faults)
	require.True(t, ok, faults.Error())
	assert.Empty(t, faults.List())
	states := map[evidence.State]int{}
	made := map[string]int{}
	for _, f := range c.Findings {
		states[f.State]++
		made[f.Made]++
	}
	n := len(c.Findings)
	assert.InDelta(t, 35, n, 4)
	assert.InDelta(t, float64(n)/3, states[evidence.NotFound], 4)
	assert.Equal(t, 2, states[evidence.Unavailable])
	assert.NotZero(t, made["teardown"])
	assert.NotZero(t, made["storage"])
	assert.Len(t, c.Readings, 8)
	require.NotNil(t, rules.Load(&faults, rules.Embedded()))
}
