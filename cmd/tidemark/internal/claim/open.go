package claim

import (
	"bytes"
	"compress/zlib"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
)

// opened is a report taken apart.
type opened struct {
	form   string
	data   []byte            // its data, as written
	shown  []byte            // all but the data
	copies map[string][]byte // the photos that it shows, by their hash
	// resaved tells that another program wrote the file, as far as its build shows; why
	// says by what.
	resaved string
}

// NotReport is that a file is no claim report, so that nothing in it can be checked.
type NotReport struct{ msg string }

func (e *NotReport) Error() string { return e.msg }

// sheetWords tell what somebody who gives a sheet for the bench may have meant.
const sheetWords = "it is a sheet for the bench and no claim report: it holds nothing that could be checked"

// open takes a report apart. What it holds is not checked.
func open(file []byte) (*opened, error) {
	switch {
	case len(bytes.TrimSpace(file)) == 0:
		return nil, &NotReport{"it is empty"}
	case bytes.HasPrefix(file, []byte("%PDF-")):
		return openPDF(file)
	case bytes.HasPrefix(bytes.TrimLeft(file, " \r\n\t\ufeff"), []byte("{")):
		if err := notReport(file); err != nil {
			return nil, err
		}
		return &opened{form: "json", data: file, copies: map[string][]byte{}}, nil
	case bytes.Contains(file, []byte("tidemark-claim")):
		return openHTML(file)
	}
	return nil, &NotReport{"it is no claim report: neither a page, a PDF nor data of one"}
}

// notReport says why data is not that of a claim report; nil where it is, or is one that
// was damaged.
func notReport(data []byte) error {
	var head struct {
		Schema string `json:"schema"`
	}
	err := json.Unmarshal(data, &head)
	switch name, _, _ := strings.Cut(head.Schema, "/"); {
	case head.Schema == Schema, bytes.Contains(data, []byte(`"`+Schema+`"`)):
		return nil
	case name == "tidemark.claim":
		return &NotReport{fmt.Sprintf("it is a claim report in the form %q, and this program checks %q: check it with the version that made it", head.Schema, Schema)}
	case strings.HasPrefix(name, "tidemark."):
		return &NotReport{fmt.Sprintf("it is %q and no claim report: tidemark report CASE -o claim.json writes one", head.Schema)}
	case err != nil:
		return &NotReport{"it is no claim report: it begins like data, and cannot be read as that"}
	}
	return &NotReport{"it is no claim report: it is data of something else"}
}

// openHTML finds the data within a page, and its photos.
func openHTML(file []byte) (*opened, error) {
	opens := []byte(dataOpens)
	at := bytes.Index(file, opens)
	if at < 0 {
		return nil, errors.New("the page holds no data of a claim report: it was saved anew by another program, or the data was taken out")
	}
	if bytes.Contains(file[at+len(opens):], opens) {
		return nil, errors.New("the page holds the data of more than one report")
	}
	from := at + len(opens)
	length := bytes.Index(file[from:], []byte("</script>"))
	if length < 0 {
		return nil, errors.New("the data in the page is cut off")
	}
	if string(file[from:from+length]) == sheetData {
		return nil, &NotReport{sheetWords}
	}
	x := &opened{form: "html", data: file[from : from+length], copies: map[string][]byte{}}
	x.shown = append(append([]byte{}, file[:from]...), file[from+length:]...)
	for rest := x.shown; ; {
		i := bytes.Index(rest, []byte(imageOpens))
		if i < 0 {
			break
		}
		rest = rest[i+len(imageOpens):]
		end := bytes.IndexByte(rest, '"')
		if end < 0 {
			break
		}
		if picture, err := base64.StdEncoding.AppendDecode(nil, rest[:end]); err == nil {
			x.copies[hash(picture)] = picture
		}
		rest = rest[end:]
	}
	return x, nil
}

// mostStreams bounds how many streams of a PDF are looked into: one for each photo, font
// and page, and then many.
const mostStreams = 20000

var (
	lengthEntry = regexp.MustCompile(`/Length (\d+)`)
	claimBegins = []byte(`{` + "\n" + ` "schema": "tidemark.claim/`)
)

// stream is one stream of a PDF, with its dictionary and the object that it is in.
type stream struct {
	from, to     int // of the object
	dict, body   []byte
	bodyFrom     int
	lengthIsTrue bool
}

// streams lists the streams of a PDF by going through the file, so that one finds them
// however it was saved, as long as its streams are whole.
func streams(file []byte) []stream {
	var out []stream
	for at, tries := 0, 0; len(out) < mostStreams && tries < 10*mostStreams; tries++ {
		i := bytes.Index(file[at:], []byte("stream"))
		if i < 0 {
			break
		}
		i += at
		at = i + len("stream")
		if i >= 3 && string(file[i-3:i]) == "end" {
			continue
		}
		body := at
		switch {
		case bytes.HasPrefix(file[body:], []byte("\r\n")):
			body += 2
		case bytes.HasPrefix(file[body:], []byte("\n")):
			body++
		default:
			continue
		}
		// What belongs to a stream stands close to it; a file made to be slow to
		// look through has it nowhere.
		const near = 1 << 14
		back := max(0, i-near)
		start := bytes.LastIndex(file[back:i], []byte(" obj"))
		if start < 0 {
			continue
		}
		start += back
		s := stream{from: lineStart(file, start), dict: file[start:i], bodyFrom: body}
		end := -1
		if m := lengthEntry.FindSubmatch(s.dict); m != nil {
			n, err := strconv.Atoi(string(m[1]))
			if err == nil && n >= 0 && n <= len(file)-body && bytes.HasPrefix(bytes.TrimLeft(file[body+n:min(len(file), body+n+20)], "\r\n"), []byte("endstream")) {
				end, s.lengthIsTrue = body+n, true
			}
		}
		if end < 0 {
			k := bytes.Index(file[body:], []byte("endstream"))
			if k < 0 {
				break
			}
			end = body + k
		}
		s.body = file[body:end]
		if !s.lengthIsTrue { // the end of the line before the word is not of the stream
			s.body = bytes.TrimSuffix(bytes.TrimSuffix(s.body, []byte("\n")), []byte("\r"))
		}
		s.to = end
		if k := bytes.Index(file[end:min(len(file), end+near)], []byte("endobj")); k >= 0 {
			s.to = end + k + len("endobj")
		}
		out = append(out, s)
		at = max(at, end)
	}
	return out
}

// lineStart is where the line of an offset begins.
func lineStart(file []byte, at int) int {
	return bytes.LastIndexByte(file[:at], '\n') + 1
}

// openPDF finds the data attached to a PDF, and its photos.
func openPDF(file []byte) (*opened, error) {
	x := &opened{form: "pdf", copies: map[string][]byte{}}
	found := 0
	for _, s := range streams(file) {
		if bytes.HasPrefix(s.body, []byte("\xff\xd8")) {
			x.copies[hash(s.body)] = s.body
			continue
		}
		data := inflated(s.body)
		if !bytes.HasPrefix(data, claimBegins) && !(bytes.Contains(s.dict, []byte("/EmbeddedFile")) && bytes.Equal(data, []byte("{}\n"))) {
			continue
		}
		if found++; found > 1 {
			break
		}
		x.data = data
		x.shown = append(append([]byte{}, file[:s.from]...), body(file[s.to:])...)
	}
	switch {
	case found > 1:
		return nil, errors.New("the PDF holds the data of more than one report")
	case found == 0 && (titled(file, custodyTitle) || titled(file, photosTitle)):
		return nil, &NotReport{sheetWords}
	case found == 0 && titled(file, reportTitle):
		return nil, errors.New("the PDF calls itself a claim report and holds no data of one: it was saved anew by another program, or the data was taken out")
	case found == 0:
		return nil, &NotReport{"the PDF holds no data of a claim report: it never was one, or another program saved it anew and left the data out"}
	}
	x.resaved = resaved(file)
	return x, nil
}

// titled tells whether a PDF gives itself a title that begins so, or so after INTERIM.
func titled(file []byte, title string) bool {
	const key = "/Title ("
	for _, mark := range []string{"", interimMark} {
		plain := mark + title + ": "
		wide := []byte{0xfe, 0xff} // UTF-16, as Tidemark writes it
		for _, r := range plain {
			wide = append(wide, 0, byte(r))
		}
		if bytes.Contains(file, append([]byte(key), wide...)) || bytes.Contains(file, []byte(key+plain)) {
			return true
		}
	}
	return false
}

// body is what follows in a PDF up to its table of places, which moves with the length
// of the data, and what stands behind that apart from the numbers.
func body(rest []byte) []byte {
	at := bytes.LastIndex(rest, []byte("\nxref\n"))
	if at < 0 {
		return rest
	}
	return rest[:at]
}

var tail = regexp.MustCompile(`\nxref\n0 \d+\n[0-9 nf\n]+trailer\n<<\n/Size \d+\n/ID \[<[0-9a-f]{32}> <[0-9a-f]{32}>\]\n/Root \d+ 0 R\n/Info \d+ 0 R\n>>\nstartxref\n\d+\n%%EOF\n$`)

// resaved tells by what a PDF shows that another program wrote it; "" where nothing does.
func resaved(file []byte) string {
	switch {
	case !bytes.Contains(file, []byte("%%EOF")):
		return "it is cut short: its end is missing"
	case bytes.Count(file, []byte("%%EOF")) > 1:
		return "something was added behind its end"
	case !tail.Match(file):
		return "its end is not as Tidemark writes it"
	case !bytes.Contains(file, []byte("/Producer")):
		return "its description is not as Tidemark writes it"
	}
	return ""
}

// inflated unpacks a stream; what is not packed is given as it is, what cannot be
// unpacked as nothing.
func inflated(b []byte) []byte {
	if bytes.HasPrefix(b, claimBegins) {
		return b
	}
	z, err := zlib.NewReader(bytes.NewReader(b))
	if err != nil {
		return nil
	}
	defer z.Close()
	// Most streams are no data of ours: their beginning is enough to tell.
	begin := make([]byte, len(claimBegins))
	n, err := io.ReadFull(z, begin)
	begin = begin[:n]
	if err != nil {
		return begin
	}
	if !bytes.Equal(begin, claimBegins) {
		return nil
	}
	rest, err := io.ReadAll(io.LimitReader(z, mostBundle))
	if err != nil {
		return nil
	}
	return append(begin, rest...)
}
