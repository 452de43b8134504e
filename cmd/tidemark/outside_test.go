//go:build outside

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tidemark/cmd/tidemark/internal/report"
	"tidemark/engine"
)

// These tests hold reports against programs of others: poppler and qpdf for the PDF,
// chromium for the page. .ci/run installs them.
//
//	go test -tags outside -run Outside ./cmd/tidemark

// outside runs a program and gives what it wrote.
func outside(t *testing.T, name string, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.NoError(t, cmd.Run(), "%s %s: %s", name, strings.Join(args, " "), errs.String())
	return out.String()
}

// reports are those of the built-in example with photos, in a folder.
func reports(t *testing.T) (dir string, d engine.Diagnosis) {
	t.Helper()
	dir = t.TempDir()
	text, err := os.ReadFile("internal/cli/demo.toml")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "case.toml"), text, 0o644))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "photos"), 0o755))
	for i, name := range []string{"0014", "0017", "0024"} {
		m := image.NewRGBA(image.Rect(0, 0, 800, 600))
		for y := range 600 {
			for x := range 800 {
				m.SetRGBA(x, y, color.RGBA{uint8(x / 4), uint8(y / 3), uint8(80 * i), 255})
			}
		}
		var b bytes.Buffer
		require.NoError(t, jpeg.Encode(&b, m, nil))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "photos", name+".jpg"), b.Bytes(), 0o644))
	}
	at := filepath.Join(dir, "case.toml")
	out, errs, status := runIn("", "diagnose", at, "--format", "json")
	require.Equal(t, 0, status, errs)
	require.NoError(t, json.Unmarshal([]byte(out), &d))
	for _, args := range [][]string{{"claim.pdf"}, {"letter.pdf", "--paper", "Letter"}, {"claim.html"}, {"custody.pdf", "--sheet", "custody"}, {"photos.pdf", "--sheet", "photos"}} {
		_, errs, status := runIn("", append([]string{"report", at, "-o", filepath.Join(dir, args[0])}, args[1:]...)...)
		require.Equal(t, 0, status, errs)
	}
	return dir, d
}

// has is that a long text holds a short one; it does not write the long one out.
func has(t *testing.T, text, want string) {
	t.Helper()
	assert.True(t, strings.Contains(text, want), "%q is not there", want)
}

func TestOutsidePDF(t *testing.T) {
	dir, d := reports(t)
	for _, name := range []string{"claim.pdf", "letter.pdf", "custody.pdf", "photos.pdf"} {
		assert.Contains(t, outside(t, "qpdf", "--check", filepath.Join(dir, name)), "No syntax or stream encoding errors found", name)
	}
	said := strings.Join(strings.Fields(outside(t, "pdftotext", "-layout", filepath.Join(dir, "claim.pdf"), "-")), " ")
	for _, head := range []string{"1. Summary", "4. Verdict", "5. Chain of failure", "6. What claims turn on", "7. Findings by part", "8. Photos", "9. Readings against limits", "11. What was ruled out, and by what", "15. What would overturn the conclusion", "17. Method", "18. Custody and integrity", "19. Limits and cautions", "20. Signatures"} {
		has(t, said, head)
	}
	for _, n := range d.Verdict.Names {
		has(t, said, fmt.Sprintf("%s %s %s %s", report.UpperFirst(n.Name), report.Percent(n.Blame), report.Percent(n.Acted), report.Percent(n.Present)))
	}
	for _, l := range d.Chain {
		if l.Kind != "outcome" {
			has(t, said, "acted, "+report.Percent(l.Probability))
		}
	}
	for _, f := range d.Findings {
		has(t, said, f.ID)
	}
	has(t, said, d.Book.Hash)
	info := outside(t, "pdfinfo", filepath.Join(dir, "letter.pdf"))
	assert.Contains(t, info, "612 x 792 pts (letter)")
	assert.Contains(t, outside(t, "pdfinfo", filepath.Join(dir, "claim.pdf")), "(A4)")
	assert.Len(t, regexp.MustCompile(`Identity-H +yes (no|yes) +yes`).FindAllString(outside(t, "pdffonts", filepath.Join(dir, "claim.pdf")), -1), 2, "both fonts are embedded, with their letters")
	assert.Contains(t, outside(t, "pdfdetach", "-list", filepath.Join(dir, "claim.pdf")), "tidemark-claim.json")
	assert.Equal(t, 3, strings.Count(outside(t, "pdfimages", "-list", filepath.Join(dir, "claim.pdf")), "jpeg"))
	// Every page has something on it, and nothing in its outermost edge.
	outside(t, "pdftoppm", "-r", "50", "-png", filepath.Join(dir, "claim.pdf"), filepath.Join(dir, "page"))
	pages, err := filepath.Glob(filepath.Join(dir, "page*.png"))
	require.NoError(t, err)
	assert.Greater(t, len(pages), 8)
	for _, p := range pages {
		ink, edge := inked(t, p, 12, 12)
		assert.Greater(t, ink, 500, p)
		assert.Zero(t, edge, p)
	}
}

// inked counts the pixels of a picture that are not white, and those within so many of
// its sides, and of its top and foot.
func inked(t *testing.T, path string, side, end int) (all, edge int) {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	m, err := png.Decode(f)
	require.NoError(t, err)
	b := m.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, g, bl, _ := m.At(x, y).RGBA(); r+g+bl < 3*0xf000 {
				all++
				if x < side || y < end || x >= b.Max.X-side || y >= b.Max.Y-end {
					edge++
				}
			}
		}
	}
	return all, edge
}

// A PDF that another program saved anew is told apart, whatever it did.
func TestOutsideResavedPDF(t *testing.T) {
	dir, _ := reports(t)
	claim := filepath.Join(dir, "claim.pdf")
	_, _, status := runIn("", "verify", claim)
	require.Equal(t, 0, status)
	for name, args := range map[string][]string{
		"as it is":       {},
		"packed":         {"--object-streams=generate", "--recompress-flate"},
		"unpacked":       {"--qdf"},
		"in other order": {"--linearize"},
	} {
		saved := filepath.Join(dir, "saved.pdf")
		outside(t, "qpdf", append(append([]string{claim}, args...), saved)...)
		out, _, status := runIn("", "verify", saved)
		assert.Equal(t, 1, status, name)
		assert.Contains(t, out, "DIFFERS  the PDF", name)
		assert.Contains(t, out, "saved anew", name)
		assert.NotContains(t, out, "swapped", name)
	}
}

// browser runs chromium without a window, with settings of its own that are thrown away.
func browser(t *testing.T, args ...string) (out, log string) {
	t.Helper()
	name := "chromium"
	if _, err := exec.LookPath(name); err != nil {
		name = "chromium-browser"
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync",
		"--hide-scrollbars", "--enable-logging=stderr", "--v=0", "--user-data-dir=" + t.TempDir()}, args...)...)
	var o, e bytes.Buffer
	cmd.Stdout, cmd.Stderr = &o, &e
	require.NoError(t, cmd.Run(), e.String())
	return o.String(), e.String()
}

func TestOutsidePage(t *testing.T) {
	dir, d := reports(t)
	page := "file://" + filepath.Join(dir, "claim.html")
	text, err := os.ReadFile(filepath.Join(dir, "claim.html"))
	require.NoError(t, err)
	assert.NotRegexp(t, `https?://`, string(text), "no request leaves the file")
	dom, log := browser(t, "--dump-dom", page)
	assert.NotContains(t, log, "CONSOLE", "nothing is told on the console")
	assert.NotRegexp(t, regexp.MustCompile(`(?i)refused to|violates|ERR_|Uncaught`), log)
	for _, n := range d.Verdict.Names {
		has(t, dom, strings.ReplaceAll(strings.ReplaceAll(report.Percent(n.Blame), ">", "&gt;"), " ", "&nbsp;"))
	}
	assert.Equal(t, 1, strings.Count(dom, "<h1"))
	assert.Equal(t, strings.Count(dom, "<table"), strings.Count(dom, "<caption"))
	assert.Equal(t, strings.Count(dom, "<img"), strings.Count(dom, "<img alt=\""))
	assert.Equal(t, strings.Count(dom, "<svg"), strings.Count(dom, "aria-label=\"Chain of failure")+strings.Count(dom, "aria-label=\"Plan of the engine"))
	// Wide, and as narrow as the browser goes: drawn, and nothing sticks out at the side.
	for name, size := range map[string]string{"desktop": "1280,3000", "phone": "500,3000"} {
		shot := filepath.Join(dir, name+".png")
		browser(t, "--screenshot="+shot, "--window-size="+size, page)
		ink, edge := inked(t, shot, 6, 0)
		assert.Greater(t, ink, 20000, name)
		assert.Zero(t, edge, name)
	}
	// On a phone of 360 nothing is wider than the screen.
	frame := filepath.Join(dir, "frame.html")
	require.NoError(t, os.WriteFile(frame, []byte(`<!DOCTYPE html><title>frame</title><iframe id="f" width="360" height="800" src="claim.html"></iframe>
<script>f.onload=()=>{const r=f.contentDocument.documentElement;document.title="wide "+r.scrollWidth+" high "+r.scrollHeight}</script>`), 0o644))
	framed, _ := browser(t, "--allow-file-access-from-files", "--virtual-time-budget=5000", "--dump-dom", "file://"+frame)
	assert.Regexp(t, `<title>wide 360 high \d{4,}</title>`, framed)
	// Printed by the browser.
	printed := filepath.Join(dir, "printed.pdf")
	browser(t, "--print-to-pdf="+printed, "--no-pdf-header-footer", page)
	assert.Contains(t, outside(t, "pdfinfo", printed), "(A4)")
	said := strings.Join(strings.Fields(outside(t, "pdftotext", "-layout", printed, "-")), " ")
	has(t, said, "5. Chain of failure")
	has(t, said, d.Book.Hash[:32])
}
