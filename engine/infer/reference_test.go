package infer

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The published networks are not part of the project. They and the answers of two
// other libraries are looked for in a folder beside it, or where
// TIDEMARK_REFERENCE says.
func reference(t testing.TB) string {
	dir := os.Getenv("TIDEMARK_REFERENCE")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "reference")
	}
	if _, err := os.Stat(filepath.Join(dir, "networks")); err != nil {
		t.Skipf("no reference networks: %v; set TIDEMARK_REFERENCE to their folder", err)
	}
	return dir
}

// bifVar is a variable of a network file, its parents before it.
type bifVar struct {
	name    string
	states  []string
	parents []int
	cpt     []float64
}

var (
	bifVariable = regexp.MustCompile(`(?s)variable\s+(\S+)\s*\{\s*type\s+discrete\s*\[\s*\d+\s*\]\s*\{([^}]*)\}`)
	bifTable    = regexp.MustCompile(`(?s)probability\s*\(([^)]*)\)\s*\{(.*?)\n\}`)
	bifRow      = regexp.MustCompile(`(?s)(?:\(([^)]*)\)|table)\s*([^;]*);`)
)

func bifWords(s string) []string {
	words := strings.Split(s, ",")
	for i := range words {
		words[i] = strings.TrimSpace(words[i])
	}
	return words
}

// readBIF reads a network in the Bayesian Interchange Format.
func readBIF(t testing.TB, file string) []bifVar {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	var raw []bifVar
	at := map[string]int{}
	for _, x := range bifVariable.FindAllStringSubmatch(string(text), -1) {
		at[x[1]] = len(raw)
		raw = append(raw, bifVar{name: x[1], states: bifWords(x[2])})
	}
	for _, x := range bifTable.FindAllStringSubmatch(string(text), -1) {
		name, given, _ := strings.Cut(x[1], "|")
		v := &raw[at[strings.TrimSpace(name)]]
		size := len(v.states)
		if given != "" {
			for _, p := range bifWords(given) {
				v.parents = append(v.parents, at[p])
				size *= len(raw[at[p]].states)
			}
		}
		v.cpt = make([]float64, size)
		for _, r := range bifRow.FindAllStringSubmatch(x[2], -1) {
			row := 0
			for i, p := range v.parents {
				s := slices.Index(raw[p].states, bifWords(r[1])[i])
				require.GreaterOrEqual(t, s, 0)
				row = row*len(raw[p].states) + s
			}
			sum := 0.0
			into := v.cpt[row*len(v.states):][:len(v.states)]
			for s, word := range bifWords(r[2]) {
				into[s], err = strconv.ParseFloat(word, 64)
				require.NoError(t, err)
				sum += into[s]
			}
			for s := range into {
				into[s] /= sum // the files are rounded, some by much
			}
		}
	}
	// Parents first.
	var out []bifVar
	to := make([]int, len(raw))
	var add func(i int)
	add = func(i int) {
		if to[i] != 0 {
			return
		}
		v := raw[i]
		v.parents = nil
		for _, p := range raw[i].parents {
			add(p)
			v.parents = append(v.parents, to[p]-1)
		}
		out = append(out, v)
		to[i] = len(out)
	}
	for i := range raw {
		add(i)
	}
	return out
}

func buildBIF(t testing.TB, net []bifVar) *Model {
	b := NewBuilder()
	b.Budget(1 << 27) // munin1 takes more than is usual
	for _, v := range net {
		parents := make([]Var, len(v.parents))
		for i, p := range v.parents {
			parents[i] = Var(p)
		}
		b.Table(v.name, len(v.states), parents, v.cpt)
	}
	m, err := b.Build()
	require.NoError(t, err)
	return m
}

// bifCase is one set of evidence with its answers.
type bifCase struct {
	Evidence   map[string]string
	LogP       float64 `json:"log_p_evidence"`
	Posteriors map[string]map[string]float64
}

func readCases(t testing.TB, file string) []bifCase {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	var cases []bifCase
	require.NoError(t, json.Unmarshal(text, &cases))
	return cases
}

func (c *bifCase) evidence(net []bifVar) Evidence {
	ev := Evidence{}
	for v, x := range net {
		if s, ok := c.Evidence[x.name]; ok {
			ev[Var(v)] = Hard(slices.Index(x.states, s), len(x.states))
		}
	}
	return ev
}

func TestPublishedNetworks(t *testing.T) {
	dir := reference(t)
	files, err := filepath.Glob(filepath.Join(dir, "answers", "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".json")
		t.Run(name, func(t *testing.T) {
			net := readBIF(t, filepath.Join(dir, "networks", name+".bif"))
			m := buildBIF(t, net)
			worst := 0.0
			for i, c := range readCases(t, file) {
				var query []Var
				for v, x := range net {
					if c.Posteriors[x.name] != nil {
						query = append(query, Var(v))
					}
				}
				if len(query)+len(c.Evidence) == m.Len() {
					query = nil
				}
				post, err := m.Infer(ctx, c.evidence(net), query...)
				require.NoError(t, err)
				near(t, c.LogP, post.LogP, i)
				require.NotEmpty(t, c.Posteriors)
				for v, x := range net {
					if post.P(Var(v)) == nil {
						continue // one of them has answers for the ancestors of the evidence only
					}
					for s, state := range x.states {
						want := c.Posteriors[x.name][state]
						if c.Evidence[x.name] == state {
							want = 1
						}
						got := post.P(Var(v))[s]
						nearOr(t, 1e-12, want, got, i, x.name, state)
						worst = max(worst, math.Abs(want-got))
					}
				}
			}
			t.Logf("worst difference %.1e", worst)
		})
	}
}

// readRefNets reads the noisy-OR networks with their answers, of all sizes.
func readRefNets(t testing.TB, name string) (orNet, []orAnswer) {
	dir := filepath.Join(reference(t), "noisyor")
	text, err := os.ReadFile(filepath.Join(dir, name+".json"))
	require.NoError(t, err)
	var net orNet
	require.NoError(t, json.Unmarshal(text, &net))
	text, err = os.ReadFile(filepath.Join(dir, name+".answers.json"))
	require.NoError(t, err)
	var answers []orAnswer
	require.NoError(t, json.Unmarshal(text, &answers))
	require.Len(t, answers, len(net.Cases), fmt.Sprint(name))
	return net, answers
}

// orAnswer is the answer to one case; Source is empty where nobody knows it.
type orAnswer struct {
	K       int
	Source  string
	LogP    float64            `json:"log_p_evidence"`
	Present map[string]float64 `json:"p_present"`
}

// All of the noisy-OR networks whose answers are known, up to 80 findings.
func TestReferenceNoisyOr(t *testing.T) {
	reference(t)
	for _, name := range []string{"small", "small_modular", "medium", "medium_modular", "large", "large_modular"} {
		t.Run(name, func(t *testing.T) {
			net, answers := readRefNets(t, name)
			m, vars := net.model(t)
			worst, rounded, known := 0.0, 0.0, 0
			for i, a := range answers {
				if a.Source == "" {
					continue // nobody knows
				}
				if testing.Short() && a.K > 40 {
					continue
				}
				known++
				ev := net.evidence(i, vars)
				post, err := m.Infer(ctx, ev, above(m, ev)...)
				require.NoError(t, err, "case %d", i)
				near(t, a.LogP, post.LogP, "case", i)
				for x, want := range a.Present {
					got := post.P(vars[x])[1]
					if post.Rounding > precise { // it owns up to it
						require.Less(t, post.Rounding, hopeless)
						rounded = max(rounded, math.Abs(want-got))
						require.InDelta(t, want, got, 1e-9)
					} else {
						near(t, want, got, "case", i, x)
					}
					worst = max(worst, math.Abs(want-got))
				}
			}
			t.Logf("%d cases, worst difference %.1e; %.1e where rounding was owned up to", known, worst, rounded)
			require.NotZero(t, known)
		})
	}
}
