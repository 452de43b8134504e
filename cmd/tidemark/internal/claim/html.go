package claim

import (
	"encoding/base64"
	"fmt"
	"html"
	"strings"

	"tidemark/cmd/tidemark/internal/font"
	"tidemark/cmd/tidemark/internal/pdf"
)

// Where the data of a report stands within a page.
const (
	dataOpens  = `<script type="application/json" id="tidemark-claim">` + "\n"
	dataCloses = "</script>\n</body>\n</html>\n"
)

// page writes the report for a screen, whole and without its data: that stands between
// the two halves.
func page(r *Report, photos []Photo, paper pdf.Paper) (before, after []byte) {
	p := &pager{photos: map[string]Photo{}}
	for _, x := range photos {
		p.photos[x.Path] = x
	}
	body := p.body(r)
	var b strings.Builder
	b.WriteString("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n")
	b.WriteString(`<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; font-src data:; style-src 'unsafe-inline'">` + "\n")
	b.WriteString(`<meta name="viewport" content="width=device-width, initial-scale=1">` + "\n")
	b.WriteString(`<link rel="icon" href="data:,">` + "\n")
	fmt.Fprintf(&b, "<title>%s</title>\n", html.EscapeString(documentTitle(r)))
	b.WriteString("<style>\n")
	for _, f := range []struct {
		font   *font.Font
		weight string
	}{{font.Regular(), "400"}, {font.Bold(), "700"}} {
		fmt.Fprintf(&b, "@font-face{font-family:\"Report\";font-weight:%s;src:url(data:font/woff;base64,%s) format(\"woff\")}\n", f.weight, base64.StdEncoding.EncodeToString(f.font.WOFF(body)))
	}
	b.WriteString(strings.ReplaceAll(style, "PAPER", paperName(paper)))
	b.WriteString("</style>\n</head>\n")
	b.WriteString(body)
	b.WriteString(dataOpens)
	return []byte(b.String()), []byte(dataCloses)
}

func paperName(p pdf.Paper) string {
	if p == pdf.Letter {
		return "letter"
	}
	return "A4"
}

func documentTitle(r *Report) string {
	t := r.Title + ": " + r.Subtitle
	if r.Interim {
		t = interimMark + t
	}
	return t
}

type pager struct {
	strings.Builder
	photos map[string]Photo
}

func (p *pager) body(r *Report) string {
	p.WriteString("<body>\n<header>\n")
	if r.Interim {
		p.WriteString("<p class=\"interim\">INTERIM</p>\n")
	}
	fmt.Fprintf(p, "<h1>%s</h1>\n<p class=\"sub\" dir=\"auto\">%s</p>\n", html.EscapeString(r.Title), html.EscapeString(r.Subtitle))
	if r.Date != "" {
		fmt.Fprintf(p, "<p class=\"date\">Last dated entry of the case: %s</p>\n", html.EscapeString(r.Date))
	}
	p.WriteString("</header>\n<nav aria-label=\"Contents\">\n<ol>\n")
	for _, s := range r.Sections {
		fmt.Fprintf(p, "<li><a href=\"#%s\">%s</a></li>\n", s.ID, html.EscapeString(s.Title))
	}
	p.WriteString("</ol>\n</nav>\n<main>\n")
	for i, s := range r.Sections {
		fmt.Fprintf(p, "<section id=\"%s\" aria-labelledby=\"%s-h\">\n<h2 id=\"%s-h\">%d. %s</h2>\n", s.ID, s.ID, s.ID, i+1, html.EscapeString(s.Title))
		for _, b := range s.Blocks {
			p.block(b)
		}
		p.WriteString("</section>\n")
	}
	p.WriteString("</main>\n")
	return p.String()
}

func (p *pager) block(b Block) {
	switch b.Kind {
	case "heading":
		fmt.Fprintf(p, "<h3 dir=\"auto\">%s</h3>\n", spans(b.Text))
	case "paragraph":
		fmt.Fprintf(p, "<p dir=\"auto\">%s</p>\n", spans(b.Text))
	case "panel":
		fmt.Fprintf(p, "<div class=\"panel %s\">\n", b.Tone)
		for _, l := range b.Lines {
			fmt.Fprintf(p, "<p dir=\"auto\">%s</p>\n", spans(l))
		}
		p.WriteString("</div>\n")
	case "list", "numbered":
		tag := map[string]string{"list": "ul", "numbered": "ol"}[b.Kind]
		fmt.Fprintf(p, "<%s>\n", tag)
		for _, l := range b.Lines {
			fmt.Fprintf(p, "<li dir=\"auto\">%s</li>\n", spans(l))
		}
		fmt.Fprintf(p, "</%s>\n", tag)
	case "facts":
		p.WriteString("<dl>\n")
		for _, l := range b.Lines {
			fmt.Fprintf(p, "<div><dt>%s</dt><dd dir=\"auto\">%s</dd></div>\n", html.EscapeString(l[0].Text), html.EscapeString(l[1].Text))
		}
		p.WriteString("</dl>\n")
	case "table":
		p.table(b.Table)
	case "drawing":
		p.drawing(b)
	case "photos":
		p.gallery(b.Photos)
	case "labels":
		p.WriteString("<div class=\"labels\">\n")
		for _, l := range b.labels {
			fmt.Fprintf(p, "<div class=\"label\">\n")
			for i, x := range l.lines() {
				tag := map[bool]string{true: "strong", false: "span"}[i == 1]
				fmt.Fprintf(p, "<p dir=\"auto\"><%s>%s</%s></p>\n", tag, html.EscapeString(x), tag)
			}
			p.WriteString("</div>\n")
		}
		p.WriteString("</div>\n")
	}
}

func spans(list []Span) string {
	var b strings.Builder
	for _, s := range list {
		if s.Bold {
			b.WriteString("<strong>" + escaped(s.Text) + "</strong>")
		} else {
			b.WriteString(escaped(s.Text))
		}
	}
	return b.String()
}

// escaped is text for a page; a per cent sign stays with its number.
func escaped(s string) string {
	return strings.ReplaceAll(html.EscapeString(s), " %", "&nbsp;%")
}

// table keeps its meaning where the style sheet lays it out as cards, on a narrow screen.
func (p *pager) table(t *Table) {
	fmt.Fprintf(p, "<table role=\"table\">\n<caption>%s</caption>\n<thead role=\"rowgroup\"><tr role=\"row\">", html.EscapeString(t.Caption))
	total := 0.0
	for _, c := range t.Columns {
		total += c.Share
	}
	for _, c := range t.Columns {
		fmt.Fprintf(p, "<th role=\"columnheader\" scope=\"col\"%s style=\"width:%.0f%%\">%s</th>", rightClass(c), 100*c.Share/total, html.EscapeString(c.Head))
	}
	p.WriteString("</tr></thead>\n<tbody role=\"rowgroup\">\n")
	for _, r := range t.Rows {
		if len(r) == 1 && len(t.Columns) > 1 {
			fmt.Fprintf(p, "<tr role=\"row\" class=\"group\"><th role=\"rowheader\" scope=\"rowgroup\" colspan=\"%d\" dir=\"auto\">%s</th></tr>\n", len(t.Columns), html.EscapeString(r[0].Text))
			continue
		}
		p.WriteString("<tr role=\"row\">")
		for i, c := range r {
			class := strings.TrimSpace(c.Tone + " " + map[bool]string{true: "num"}[t.Columns[i].Right])
			if class != "" {
				class = ` class="` + class + `"`
			}
			head := t.Columns[i].Head
			if head != "" && !strings.HasSuffix(head, "?") {
				head += ":"
			}
			head = html.EscapeString(head)
			if i == 0 {
				fmt.Fprintf(p, "<th role=\"rowheader\" scope=\"row\"%s dir=\"auto\">%s</th>", class, cellText(c.Text))
			} else {
				fmt.Fprintf(p, "<td role=\"cell\"%s data-head=\"%s\" dir=\"auto\">%s</td>", class, head, cellText(c.Text))
			}
		}
		p.WriteString("</tr>\n")
	}
	p.WriteString("</tbody>\n</table>\n")
}

// cellText lets a hash be broken.
func cellText(s string) string {
	if len(s) == 64 && !strings.Contains(s, " ") {
		return "<code>" + html.EscapeString(s[:32]) + "<wbr>" + html.EscapeString(s[32:]) + "</code>"
	}
	return strings.ReplaceAll(escaped(s), "\n", "<br>")
}

func rightClass(c Column) string {
	if c.Right {
		return ` class="num"`
	}
	return ""
}

func (p *pager) drawing(b Block) {
	p.WriteString("<figure>\n")
	if b.narrow == nil {
		p.WriteString("<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"drawing, may be scrolled sideways\">\n")
		b.wide.svg(&p.Builder, "drawing broad")
		p.WriteString("</div>\n")
	} else {
		b.wide.svg(&p.Builder, "drawing wide")
		b.narrow.svg(&p.Builder, "drawing narrow")
	}
	p.WriteString("</figure>\n")
}

func (p *pager) gallery(list []Shown) {
	p.WriteString("<div class=\"photos\">\n")
	for _, s := range list {
		p.WriteString("<figure>\n")
		if x := p.photos[s.Path]; x.Copy != nil && s.Missing == "" {
			fmt.Fprintf(p, "<img alt=\"%s\" width=\"%d\" height=\"%d\" src=\"%s%s\">\n", html.EscapeString(s.Caption), x.Copy.Width, x.Copy.Height, imageOpens, base64.StdEncoding.EncodeToString(x.Copy.Data))
		} else {
			fmt.Fprintf(p, "<p class=\"missing\">No photo: %s.</p>\n", html.EscapeString(s.Missing))
		}
		fmt.Fprintf(p, "<figcaption dir=\"auto\">%s</figcaption>\n</figure>\n", html.EscapeString(s.Caption))
	}
	p.WriteString("</div>\n")
}

const imageOpens = "data:image/jpeg;base64,"
