package cli

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"tidemark/cmd/tidemark/internal/claim"
	"tidemark/cmd/tidemark/internal/report"
)

// mostReport is the largest report that is read.
const mostReport = 512 << 20

func newVerify(s *shared) *cobra.Command {
	var dir, signer, format string
	cmd := &cobra.Command{
		Use:   "verify FILE",
		Short: "Check that a claim report is what was worked out",
		Long: `Verify takes the data out of a report (.html, .pdf or .json), works the case out
again with the book of this program (and --rules, as when it was made), makes the report
once more, and tells every difference: an edited finding or figure, a swapped photo,
another book, a file that another program saved anew, a signature that does not fit.

With --case it holds the case file and the photos in that folder against the report as
well.

Exit status: 0 all holds, 1 something differs, 2 FILE cannot be read or is no claim
report (as a sheet for the bench is none).`,
		Example: "  tidemark verify claim.pdf\n  tidemark verify claim.html --case cases/2031-007",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return inputError{errors.New("verify needs a report: tidemark verify claim.pdf")}
			}
			return atMost(1, "one report")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkFormat(format); err != nil {
				return err
			}
			opt := claim.VerifyOptions{Dir: dir, Version: s.env.Version}
			if signer != "" {
				key, err := claim.ParsePublic(signer)
				if err != nil {
					return inputError{err}
				}
				opt.Signer = key
			}
			file, err := readReport(args[0])
			if err != nil {
				return inputError{err}
			}
			book, err := s.book()
			if err != nil {
				return err
			}
			r, err := claim.Verify(cmd.Context(), book, file, opt)
			var none *claim.NotReport
			if errors.As(err, &none) {
				return inputError{fmt.Errorf("%s cannot be checked: %w", clipLeft(args[0]), err)}
			}
			if err != nil {
				return err
			}
			if format == "json" {
				if err := writeJSON(cmd.OutOrStdout(), r); err != nil {
					return err
				}
			} else if err := report.Checked(cmd.OutOrStdout(), r.Holds, r.Differs, r.Notes, s.options(false, false, false)); err != nil {
				return err
			}
			if len(r.Differs) > 0 {
				return fmt.Errorf("%s does not hold: see above", clipLeft(args[0]))
			}
			return nil
		},
	}
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return []string{"html", "pdf", "json"}, cobra.ShellCompDirectiveFilterFileExt
	}
	cmd.Flags().StringVar(&dir, "case", "", "hold the originals in the case's folder `DIR` against it too")
	cmd.Flags().StringVar(&signer, "signer", "", "it must be signed with this public `KEY`")
	formatFlag(cmd, &format)
	return cmd
}

// readReport reads a report, and no more than any can be.
func readReport(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", clipLeft(path), plainCause(err))
	}
	defer f.Close()
	file, err := io.ReadAll(io.LimitReader(f, mostReport+1))
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", clipLeft(path), plainCause(err))
	}
	if len(file) > mostReport {
		return nil, fmt.Errorf("%s is larger than %d MB, which no report is", clipLeft(path), mostReport>>20)
	}
	return file, nil
}

func newKey(s *shared) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "key",
		Short: "Make or show the key with which you sign reports",
		Long: `A signed report shows who made it: report --sign signs with your key, which is kept
in your own settings folder and which only you can read. Pass the public key on by
another way than the report; verify --signer holds a report against it.`,
		Args: noSuchCommand,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(&cobra.Command{
		Use:   "new",
		Short: "Make a key",
		Args:  atMost(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			path, err := claim.KeyFile()
			if err != nil {
				return err
			}
			public, err := claim.NewKey(path)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "The key is at %s, for your eyes only.\n", path)
			tellKey(cmd.OutOrStdout(), public)
			return nil
		},
	}, &cobra.Command{
		Use:   "show",
		Short: "Show the public key",
		Args:  atMost(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			path, err := claim.KeyFile()
			if err != nil {
				return err
			}
			key, err := claim.ReadKey(path)
			if err != nil {
				return err
			}
			tellKey(cmd.OutOrStdout(), key.Public().(ed25519.PublicKey))
			return nil
		},
	})
	return cmd
}

func tellKey(w io.Writer, key ed25519.PublicKey) {
	fmt.Fprintf(w, "Public key, to pass on: %s\nIn reports it is called %s.\n", claim.PublicText(key), claim.Fingerprint(key))
}
