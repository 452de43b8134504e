package practice

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"tidemark/rules"
)

// LogSchema names the shape of an entry of the log.
const LogSchema = "tidemark.practice/1"

// Entry is a game played to its end, as the log keeps it: one line of JSON.
type Entry struct {
	Schema   string    `json:"schema"`
	When     time.Time `json:"when"`
	Seed     uint64    `json:"seed"`
	Level    Level     `json:"level"`
	Engine   string    `json:"engine"`
	Question string    `json:"question"`
	// System is the pack of what was right, the matter that the game was about.
	System string `json:"system"`
	// Said is what was named first, how surely, and what came of it.
	Said    []Said  `json:"said"`
	Bits    float64 `json:"bits"`
	Chain   float64 `json:"chain"`
	Minutes float64 `json:"minutes"`
	Plan    float64 `json:"plan_minutes"`
	Looks   int     `json:"looks"`
	Idle    int     `json:"idle"`
	Lost    int     `json:"lost"`
	Open    bool    `json:"open"`
	Real    bool    `json:"real"`
}

// Said is one thing named.
type Said struct {
	Cause string  `json:"cause"`         // "" for that it cannot be determined; of more than one, ids with spaces
	How   string  `json:"how,omitempty"` // of more than one
	P     float64 `json:"p"`
	Base  float64 `json:"base"`
	Right bool    `json:"right"`
}

// Entry is the game as the log keeps it.
func (g *Game) Entry(r *Result, when time.Time) Entry {
	x := g.X
	e := Entry{Schema: LogSchema, When: when.UTC().Truncate(time.Second), Seed: x.Seed, Level: x.Level, Engine: x.Profile.ID, Question: x.Question.ID, Said: []Said{},
		Bits: round(r.Bits), Chain: round(r.Chain), Minutes: r.Minutes, Plan: x.Plan.Minutes, Idle: len(r.Idle), Open: x.Open, Real: x.Real}
	if len(x.Truth.Right) > 0 && x.book.Node(x.Truth.Right[0]) != nil {
		e.System = x.book.Node(x.Truth.Right[0]).Pack
	}
	for _, l := range g.Looks {
		if !l.Told {
			e.Looks++
		}
	}
	for _, d := range r.Destroyed {
		if d.There {
			e.Lost++
		}
	}
	for _, j := range r.Guesses {
		e.Said = append(e.Said, Said{strings.Join(j.Causes, " "), j.How, round(j.Said), round(j.Base), j.Right})
	}
	return e
}

// round keeps what a person could tell apart; no probability is so small.
func round(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// Append adds an entry to the log, whole or not at all as far as anyone can read it:
// one write of one line, and on the disk before it returns. Where the last line was
// cut off by a kill, the new one begins a line of its own.
func Append(path string, e Entry) error {
	line, err := json.Marshal(e)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	text := append(line, '\n')
	if st, err := f.Stat(); err == nil && st.Size() > 0 {
		last := []byte{'\n'}
		if _, err := f.ReadAt(last, st.Size()-1); err == nil && last[0] != '\n' {
			text = append([]byte{'\n'}, text...)
		}
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// maxLog is the size to which a log is read: some hundred thousand games.
const maxLog = 64 << 20

// ReadLog reads the log. Lines that are no entry, as one that a kill cut off, are
// passed over; their numbers are told, from 1. There is no fault in a log that does
// not exist: nobody has played.
func ReadLog(path string) (entries []Entry, bad []int, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxLog+1))
	if err != nil {
		return nil, nil, err
	}
	if len(text) > maxLog {
		return nil, nil, fmt.Errorf("%s is larger than %d MB, which no log of practice needs to be", path, maxLog>>20)
	}
	entries, bad = ParseLog(text)
	return entries, bad, nil
}

// ParseLog reads the text of a log.
func ParseLog(text []byte) (entries []Entry, bad []int) {
	for i, line := range bytes.Split(text, []byte{'\n'}) {
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		var e Entry
		d := json.NewDecoder(bytes.NewReader(line))
		if d.Decode(&e) != nil || d.More() || !e.sound() {
			bad = append(bad, i+1)
			continue
		}
		entries = append(entries, e)
	}
	return entries, bad
}

// sound tells whether an entry can be counted.
func (e *Entry) sound() bool {
	if e.Schema != LogSchema || !slices.Contains(Levels, e.Level) && e.Level != RealCase {
		return false
	}
	for _, x := range []float64{e.Bits, e.Chain, e.Minutes, e.Plan} {
		if math.IsNaN(x) || math.Abs(x) > 1e9 {
			return false
		}
	}
	for _, s := range e.Said {
		if !(s.P > 0 && s.P < 1 && s.Base > 0 && s.Base < 1) {
			return false
		}
	}
	return e.Looks >= 0 && e.Idle >= 0 && e.Lost >= 0
}

// Progress is what the log tells of whoever keeps it.
type Progress struct {
	Games   int
	Bits    float64 // mean a game
	Systems []System
	Bands   []Band
	// Weak are the systems that want practice most, weakest first.
	Weak []string
}

// System is how games about one matter went.
type System struct {
	ID      string
	Games   int
	Right   int     // named what was right, at even odds or better
	Bits    float64 // mean
	Chain   float64 // mean
	Early   float64 // mean bits of the first half
	Late    float64 // of the second
	Minutes float64 // mean
	Plan    float64 // mean of the plans
	Lost    int
	Idle    int
}

// Band is what was said with about the same certainty.
type Band struct {
	From, To float64
	N        int
	Said     float64 // mean
	Right    float64 // share
}

var bands = []float64{0, 0.2, 0.4, 0.6, 0.8, 0.9, 1}

// ProgressOf sums up a log.
func ProgressOf(entries []Entry) Progress {
	p := Progress{Games: len(entries)}
	by := map[string][]Entry{}
	band := make([]Band, len(bands)-1)
	for i := range band {
		band[i].From, band[i].To = bands[i], bands[i+1]
	}
	for _, e := range entries {
		p.Bits += e.Bits / float64(len(entries))
		by[e.System] = append(by[e.System], e)
		for _, s := range e.Said {
			for i := range band {
				if s.P >= band[i].From && (s.P < band[i].To || i == len(band)-1) {
					band[i].N++
					band[i].Said += s.P
					if s.Right {
						band[i].Right++
					}
					break
				}
			}
		}
	}
	for _, b := range band {
		if b.N > 0 {
			b.Said /= float64(b.N)
			b.Right /= float64(b.N)
			p.Bands = append(p.Bands, b)
		}
	}
	for id, list := range by {
		s := System{ID: id, Games: len(list)}
		n := float64(len(list))
		for i, e := range list {
			s.Bits += e.Bits / n
			s.Chain += e.Chain / n
			s.Minutes += e.Minutes / n
			s.Plan += e.Plan / n
			s.Lost += e.Lost
			s.Idle += e.Idle
			if slices.ContainsFunc(e.Said, func(x Said) bool { return x.Right && x.P >= 0.5 }) {
				s.Right++
			}
			if half := len(list) / 2; i < half {
				s.Early += e.Bits / float64(half)
			} else {
				s.Late += e.Bits / float64(len(list)-half)
			}
		}
		p.Systems = append(p.Systems, s)
	}
	slices.SortFunc(p.Systems, func(a, b System) int { return strings.Compare(a.ID, b.ID) })
	weak := slices.Clone(p.Systems)
	weak = slices.DeleteFunc(weak, func(s System) bool { return s.ID == "" || s.weakness() < 0.4 })
	slices.SortStableFunc(weak, func(a, b System) int {
		switch x, y := a.weakness(), b.weakness(); {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	for _, s := range weak {
		p.Weak = append(p.Weak, s.ID)
	}
	return p
}

// weakness is about the chance to be wrong in the next game about this: two games, one
// right and one wrong, are added to what was played, so that one bad day says little.
func (s System) weakness() float64 {
	return 1 - float64(s.Right+1)/float64(s.Games+2)
}

// Lean chooses what to lean on next by a number from 0 to below 1: nothing half of the
// time, else one of the weak systems, the weaker the likelier.
func (p Progress) Lean(u float64, book *rules.Book) string {
	if len(p.Weak) == 0 || u < 0.5 {
		return ""
	}
	sum := 0.0
	weight := map[string]float64{}
	for _, s := range p.Systems {
		if slices.Contains(p.Weak, s.ID) && slices.ContainsFunc(book.Packs, func(k rules.Pack) bool { return k.ID == s.ID }) {
			weight[s.ID] = s.weakness()
			sum += s.weakness()
		}
	}
	u = (u - 0.5) * 2 * sum
	for _, id := range p.Weak {
		if u -= weight[id]; u < 0 && weight[id] > 0 {
			return id
		}
	}
	return ""
}
