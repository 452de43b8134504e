package claim

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Text of a case never becomes part of the page's own text, in whatever script it is.
func TestHostileText(t *testing.T) {
	evil := `</script><script>alert(1)</script><img src=x onerror=alert(2)> & "quoted" 'single' <!-- -- > \u003c`
	text := strings.Replace(benchCase, `id = "bench-12"`, `id = "bench-12"`+"\ntitle = '''"+evil+"'''", 1)
	text = strings.Replace(text, "[finding.F01]", "[history]\nstory = '''"+evil+"'''\n\n[received]\nfrom = \"משפחת כהן (12)\"\nnote = \"Иван Петрович, سالم\"\n\n[finding.F01]\nnote = '''"+evil+"'''", 1)
	text = strings.Replace(text, `["photos/a.jpg", "photos/b.jpg"]`, `['<b>.jpg', '" onload="x.jpg']`, 1)
	in := inputOf(t, `ca"<se>.toml`, text)
	page := string(write(t, in, "html"))
	x, err := open([]byte(page))
	assert.NoError(t, err)
	shown := string(x.shown)
	assert.NotContains(t, shown, "<script>alert")
	assert.NotContains(t, shown, "<img src=x")
	assert.NotContains(t, shown, "<b>.jpg")
	assert.NotContains(t, shown, `" onload=`)
	assert.NotContains(t, string(x.data), "<")
	assert.Equal(t, 1, strings.Count(page, "<script"))
	assert.Equal(t, 1, strings.Count(page, "</script>"))
	assert.Contains(t, shown, "&lt;/script&gt;&lt;script&gt;alert(1)")
	assert.Contains(t, shown, "משפחת כהן (12)")
	// Nothing asks for anything outside the file.
	for _, m := range regexp.MustCompile(`(?i)<[a-z][^>]*\s(?:src|href|data|action|poster|srcset)\s*=\s*"([^"]*)"`).FindAllStringSubmatch(shown, -1) {
		assert.True(t, strings.HasPrefix(m[1], "data:") || strings.HasPrefix(m[1], "#"), m[0])
	}
	for _, m := range regexp.MustCompile(`url\((.{5})`).FindAllStringSubmatch(shown, -1) {
		assert.Equal(t, "data:", m[1])
	}
	for _, tag := range regexp.MustCompile(`<[a-zA-Z][^>]*>`).FindAllString(shown, -1) {
		bare := regexp.MustCompile(`"[^"]*"`).ReplaceAllString(tag, "")
		assert.NotRegexp(t, `(?i)\son[a-z]+=`, bare)
	}
	r := checked(t, []byte(page), VerifyOptions{})
	assert.Empty(t, r.Differs)
	for _, form := range []string{"pdf", "json"} {
		assert.Empty(t, checked(t, write(t, in, form), VerifyOptions{}).Differs, form)
	}
}

// 300 findings, most of them on a few positions: nothing crosses, all are told.
func TestManyFindings(t *testing.T) {
	if testing.Short() {
		t.Skip("works out a large case")
	}
	var b strings.Builder
	b.WriteString("[case]\nid = \"many\"\n[engine]\nfuel = \"diesel\"\ncycle = \"four-stroke\"\ncooling = \"liquid\"\nlayout = \"v\"\ncylinders = 12\nlubrication = \"wet sump\"\n")
	n := 0
	for _, s := range book().Signs {
		if n == 300 {
			break
		}
		if s.When != nil || s.Part.When != nil {
			continue
		}
		n++
		at := ""
		if s.Part.Per != "" {
			at = "at = \"all\"\n"
			if s.Part.Per != "bank" && n%2 == 0 {
				at = fmt.Sprintf("at = \"%d\"\n", 1+n%6)
			}
		}
		fmt.Fprintf(&b, "[finding.F%03d]\nsign = %q\n%sstate = \"unavailable\"\n", n, s.ID, at)
	}
	assert.Equal(t, 300, n)
	in := inputOf(t, "many.toml", b.String())
	assert.Empty(t, overlaps(drawPlan(in.Book, in.Case, in.Diagnosis)))
	said := text(Build(in))
	for i := 1; i <= 300; i++ {
		assert.Contains(t, said, fmt.Sprintf("| F%03d |", i))
	}
	assert.NotEmpty(t, write(t, in, "pdf"))
}
