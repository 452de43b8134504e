package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/claim"
	"tidemark/cmd/tidemark/internal/pdf"
	"tidemark/engine"
	"tidemark/evidence"
	"tidemark/evidence/source"
	"tidemark/rules"
)

// reporting is the command report with what its flags say.
type reporting struct {
	*shared
	out, paper, sheet string
	sign              bool
	limit             limits
	with              caseFlags
}

func newReport(s *shared) *cobra.Command {
	r := &reporting{shared: s}
	cmd := &cobra.Command{
		Use:   "report [CASE] -o FILE",
		Short: "Write the claim report: a page, a PDF or data",
		Long: `Report writes all that is worked out of a case for someone who was not there: what
was asked, the verdict and what its words mean, the chain of failure as a picture,
findings with a plan of the engine, photos, readings, what was ruled out, what would
overturn it, and how to check it. The ending of FILE says in which form: .html, .pdf
or .json. Each is one file that needs nothing else; the case, and everything that
"tidemark verify" checks, is within it.

Photos are read from the case's folder and from nowhere else. The report holds copies,
scaled and turned upright, without the camera's notes; the originals are listed by
their SHA-256.

With --sheet it writes what is needed at the bench instead: custody (parts kept, how
to pack a fracture face, bag labels) or photos (what is still to be photographed).

Where there is no verdict yet the report is marked interim and says what is missing.`,
		Example: "  tidemark report case.toml -o claim.pdf\n  tidemark report case.toml -o claim.html --sign\n  tidemark report case.toml -o labels.pdf --sheet custody --paper Letter",
		Args:    atMost(1, "one case file"),
		RunE:    r.run,
	}
	cmd.Flags().StringVarP(&r.out, "out", "o", "", "write `FILE` (.html, .pdf or .json)")
	cmd.Flags().StringVar(&r.paper, "paper", "A4", "`A4` or Letter")
	cmd.Flags().StringVar(&r.sheet, "sheet", "", "a `SHEET` for the bench instead: custody or photos")
	cmd.Flags().BoolVar(&r.sign, "sign", false, "sign it with your key (tidemark key new makes one)")
	r.with.flags(cmd)
	r.limit.flags(cmd)
	return cmd
}

// form is what the ending of the file says.
func (r *reporting) form() (string, error) {
	if r.out == "" {
		return "", inputError{errors.New("it is not said where the report goes: -o claim.html, claim.pdf or claim.json")}
	}
	switch form := strings.TrimPrefix(strings.ToLower(filepath.Ext(r.out)), "."); {
	case r.sheet != "" && form == "json":
		return "", inputError{errors.New("a sheet is for paper: -o FILE.html or FILE.pdf")}
	case form == "html" || form == "pdf" || form == "json":
		return form, nil
	case form == "htm":
		return "html", nil
	}
	return "", inputError{fmt.Errorf("a report can be .html, .pdf or .json, and %q is none of them", filepath.Base(r.out))}
}

func paperSize(name string) (pdf.Paper, error) {
	switch strings.ToLower(name) {
	case "a4":
		return pdf.A4, nil
	case "letter":
		return pdf.Letter, nil
	}
	return "", inputError{fmt.Errorf("--paper is %q, and must be A4 or Letter", name)}
}

func (r *reporting) run(cmd *cobra.Command, args []string) error {
	form, err := r.form()
	if err != nil {
		return err
	}
	size, err := paperSize(r.paper)
	if err != nil {
		return err
	}
	if r.sheet != "" && r.sheet != "custody" && r.sheet != "photos" {
		return inputError{fmt.Errorf("--sheet is %q, and must be custody or photos", r.sheet)}
	}
	opt := claim.Options{Form: form, Paper: size, Memory: r.limit.memory << 20}
	if r.sign {
		path, err := claim.KeyFile()
		if err != nil {
			return err
		}
		if opt.Key, err = claim.ReadKey(path); err != nil {
			return err
		}
	}
	var faults source.Faults
	book, c, err := r.with.open(r.shared, cmd, args, &faults)
	if err != nil {
		return err
	}
	ctx, cancel := r.limit.context(cmd.Context())
	defer cancel()
	d, err := r.diagnose(ctx, book, c, &faults)
	if err != nil {
		return err
	}
	warn(cmd.ErrOrStderr(), &faults)
	r.stdinHint(cmd, args)
	in := claim.Input{Book: book, Case: c, Diagnosis: d}
	if in.Files, err = r.files(cmd, args, c); err != nil {
		return err
	}
	var file []byte
	if r.sheet != "" {
		file, err = claim.WriteSheet(in, r.sheet, opt)
	} else {
		if in.Photos, err = r.photos(ctx, cmd, args, c); err != nil {
			return err
		}
		file, err = claim.Write(in, opt)
	}
	if err != nil {
		return err
	}
	if err := writeFile(r.out, file); err != nil {
		return err
	}
	return r.done(cmd, in)
}

// diagnose works the case out, with its errors in words.
func (r *reporting) diagnose(ctx context.Context, book *rules.Book, c *evidence.Case, faults *source.Faults) (*engine.Diagnosis, error) {
	d, err := engine.Diagnose(ctx, book, c, engine.Options{Version: r.env.Version, Memory: r.limit.memory << 20})
	if err = r.limit.told(err); err == nil {
		return d, nil
	}
	var asked *engine.QuestionError
	if errors.As(err, &asked) {
		faults.Add(c.QuestionPos, "", "%v", asked.Err)
		return nil, faults
	}
	if findings, clash := engine.IsClash(err); clash {
		return nil, clashing(c, findings)
	}
	return nil, err
}

// files are the texts from which the case was read.
func (r *reporting) files(cmd *cobra.Command, args []string, c *evidence.Case) ([]claim.File, error) {
	var faults source.Faults
	name, text := "case.toml", demo
	if len(args) > 0 && args[0] != "-" {
		var ok bool
		if text, ok = source.ReadFile(args[0], &faults); !ok {
			return nil, &faults
		}
		name = filepath.Base(args[0])
	} else if len(args) > 0 {
		return nil, inputError{errors.New("a report is made of a case in a file, so that its folder and its hash are known; standard input has neither")}
	}
	out := []claim.File{claim.NewFile(name, text)}
	add := func(path, ref string) bool {
		text, ok := source.ReadFile(path, &faults)
		if ok {
			f := claim.NewFile(filepath.Base(path), text)
			f.Ref, f.Flag = ref, ref == ""
			out = append(out, f)
		}
		return ok
	}
	for _, ref := range c.LimitFiles {
		path := ref.Path
		if len(args) > 0 && !filepath.IsAbs(path) {
			path = filepath.Join(filepath.Dir(c.File), filepath.FromSlash(path))
		}
		if !add(path, ref.Path) {
			return nil, &faults
		}
	}
	for _, path := range r.with.limits {
		if !add(path, "") {
			return nil, &faults
		}
	}
	return out, nil
}

// photos takes in the photos, with a line on a terminal that tells how far it is.
func (r *reporting) photos(ctx context.Context, cmd *cobra.Command, args []string, c *evidence.Case) ([]claim.Photo, error) {
	if len(args) == 0 {
		return claim.NoPhotos(c, "the built-in example has none"), nil
	}
	var done func(n, of int)
	if r.env.Progress {
		w := cmd.ErrOrStderr()
		done = func(n, of int) { fmt.Fprint(w, "\r"+bar("photos", n, of)) }
		defer fmt.Fprint(w, "\r\033[K")
	}
	list, err := claim.ReadPhotos(ctx, filepath.Dir(args[0]), c, done)
	return list, r.limit.told(err)
}

// bar shows how far a long run is.
func bar(what string, n, of int) string {
	const wide = 24
	full := wide * n / max(1, of)
	return fmt.Sprintf("%s [%s%s] %d of %d", what, strings.Repeat("#", full), strings.Repeat("-", wide-full), n, of)
}

// done tells what was not taken in.
func (r *reporting) done(cmd *cobra.Command, in claim.Input) error {
	for _, p := range in.Photos {
		if p.Missing != "" && !strings.HasPrefix(p.Missing, "the built-in") {
			fmt.Fprintln(cmd.ErrOrStderr(), clipped(fmt.Sprintf("photo %q of %s: %s", p.Path, strings.Join(p.Findings, ", "), p.Missing)))
		}
	}
	return nil
}

// writeFile writes a file whole or not at all.
func writeFile(path string, data []byte) error {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".tidemark-*")
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", clipLeft(path), plainCause(err))
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("%s cannot be written: %w", clipLeft(path), plainCause(err))
	}
	return nil
}

// plainCause is an error without the name of a file that nobody gave.
func plainCause(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}
