package cli

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// On a terminal it is shown how far the photos are, and wiped away; else nothing is.
func TestReportShowsHowFarItIs(t *testing.T) {
	dir := t.TempDir()
	var photos []string
	for i := range 3 {
		var b bytes.Buffer
		require.NoError(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 30)), nil))
		name := fmt.Sprintf("%d.jpg", i)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o644))
		photos = append(photos, fmt.Sprintf("%q", name))
	}
	text := "[case]\nid = \"p\"\n[engine]\nfuel = \"diesel\"\ncycle = \"four-stroke\"\ncooling = \"liquid\"\nlayout = \"inline\"\n[finding.F01]\nsign = \"oil_pan.sludge\"\nstate = \"seen\"\nphotos = [" + strings.Join(photos, ", ") + "]\n"
	at := filepath.Join(dir, "case.toml")
	require.NoError(t, os.WriteFile(at, []byte(text), 0o644))
	for _, terminal := range []bool{true, false} {
		var out, errs bytes.Buffer
		status := Run(context.Background(), []string{"report", at, "-o", filepath.Join(dir, "c.html")}, Env{Out: &out, Err: &errs, Version: "test", Progress: terminal})
		require.Equal(t, 0, status, errs.String())
		assert.Equal(t, terminal, strings.Contains(errs.String(), "\rphotos [########################] 3 of 3"), errs.String())
		assert.Equal(t, terminal, strings.HasSuffix(errs.String(), "\r\033[K"))
	}
}

// A report goes to the disk whole or not at all.
func TestWriteFile(t *testing.T) {
	dir := t.TempDir()
	at := filepath.Join(dir, "c.pdf")
	require.NoError(t, writeFile(at, []byte("one")))
	require.NoError(t, writeFile(at, []byte("two")))
	got, err := os.ReadFile(at)
	require.NoError(t, err)
	assert.Equal(t, "two", string(got))
	require.Error(t, writeFile(dir, []byte("x")))
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing half written is left")
}
