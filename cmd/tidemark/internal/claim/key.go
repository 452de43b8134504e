package claim

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"tidemark/cmd/tidemark/internal/pdf"
)

// KeyFile is where the key for signing is kept.
func KeyFile() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("it is not known where settings are kept here: %w", err)
	}
	return filepath.Join(dir, "tidemark", "signing-key.pem"), nil
}

// NewKey makes a key and writes it where only its owner can read it. A key that is there
// is never overwritten.
func NewKey(path string) (ed25519.PublicKey, error) {
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("no key could be made: %w", err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return nil, fmt.Errorf("no key could be made: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, fmt.Errorf("the folder for the key cannot be made: %w", err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("there is a key at %s already, and reports signed with it are known by it: move it away first, if another is wanted", path)
	}
	if err != nil {
		return nil, fmt.Errorf("the key cannot be written: %w", err)
	}
	if err := pem.Encode(f, &pem.Block{Type: "PRIVATE KEY", Bytes: der}); err != nil {
		f.Close()
		return nil, fmt.Errorf("the key cannot be written: %w", err)
	}
	if err := f.Sync(); err != nil {
		f.Close()
		return nil, fmt.Errorf("the key cannot be written: %w", err)
	}
	return public, f.Close()
}

// ReadKey reads the key for signing. One that others can read is refused.
func ReadKey(path string) (ed25519.PrivateKey, error) {
	st, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there is no key for signing at %s (tidemark key new makes one)", path)
	}
	if err != nil {
		return nil, fmt.Errorf("the key for signing cannot be read: %w", err)
	}
	if runtime.GOOS != "windows" && st.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("the key for signing at %s can be read by others (mode %04o): chmod 600 it, and make another if anyone may have", path, st.Mode().Perm())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("the key for signing cannot be read: %w", err)
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, fmt.Errorf("%s is no key", path)
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("%s is no key: %w", path, err)
	}
	private, ok := key.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("%s is a key of another kind; Ed25519 is wanted", path)
	}
	return private, nil
}

// PublicText is a public key as people pass it on.
func PublicText(key ed25519.PublicKey) string {
	return "tidemark-" + base64.RawURLEncoding.EncodeToString(key)
}

// ParsePublic reads a public key as people pass it on.
func ParsePublic(text string) (ed25519.PublicKey, error) {
	const begins = "tidemark-"
	if len(text) > len(begins) && text[:len(begins)] == begins {
		if key, err := base64.RawURLEncoding.DecodeString(text[len(begins):]); err == nil && len(key) == ed25519.PublicKeySize {
			return key, nil
		}
	}
	return nil, fmt.Errorf("%q is no public key (tidemark key show tells one's own: it begins with %q)", text, begins)
}

// Fingerprint is a short name for a public key.
func Fingerprint(key ed25519.PublicKey) string {
	sum := sha256.Sum256(key)
	return "key " + hex.EncodeToString(sum[:8])
}

func paperOf(name string) pdf.Paper { return pdf.Paper(name) }
