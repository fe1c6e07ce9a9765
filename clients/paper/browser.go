package paper

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// ErrNoBrowser is that no Chromium is on the machine.
var ErrNoBrowser = errors.New("no Chromium was found; install it (Debian: apt-get install chromium fonts-liberation), or print the HTML page from any browser")

// Browser is a Chromium on this machine that prints pages without a window.
type Browser struct {
	path string
	// Timeout bounds one print; 0 is a minute.
	Timeout time.Duration
}

// FindBrowser looks for Chromium: the program named, or one on the path. It fails
// with [ErrNoBrowser] when there is none.
func FindBrowser(named string) (*Browser, error) {
	names := []string{"chromium", "chromium-browser", "google-chrome", "chrome"}
	if named != "" {
		names = []string{named}
	}
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return &Browser{path: path}, nil
		}
	}
	if named != "" {
		return nil, fmt.Errorf("%s can't be run: %w", named, ErrNoBrowser)
	}
	return nil, ErrNoBrowser
}

// PDF prints an HTML page.
func (b *Browser) PDF(ctx context.Context, page []byte) ([]byte, error) {
	return b.run(ctx, "page.html", page, "page.pdf", "--print-to-pdf=", "--no-pdf-header-footer")
}

// PNG draws an SVG of so many CSS pixels, at three times as many pixels each way.
func (b *Browser) PNG(ctx context.Context, svg []byte, width, height int) ([]byte, error) {
	page := fmt.Appendf(nil, "<!DOCTYPE html><meta charset=utf-8><style>html,body{margin:0;background:#fff}svg{display:block}</style>%s", svg)
	return b.run(ctx, "page.html", page, "page.png", "--screenshot=", "--hide-scrollbars", "--force-device-scale-factor=3",
		fmt.Sprintf("--window-size=%d,%d", width, height))
}

// run lets Chromium read one file and write another, in a folder of their own; as
// names the file that is written.
func (b *Browser) run(ctx context.Context, from string, content []byte, to, as string, flags ...string) ([]byte, error) {
	folder, err := os.MkdirTemp("", "paper")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	source := filepath.Join(folder, from)
	if err := os.WriteFile(source, content, 0o600); err != nil {
		return nil, err
	}
	timeout := b.Timeout
	if timeout == 0 {
		timeout = time.Minute
	}
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	// The pages have no scripts and ask for nothing over the network.
	args := append([]string{"--headless", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
		"--disable-sync", "--disable-dev-shm-usage", "--user-data-dir=" + filepath.Join(folder, "profile"), as + filepath.Join(folder, to)}, flags...)
	args = append(args, (&url.URL{Scheme: "file", Path: source}).String())
	if os.Getuid() == 0 {
		args = append(args, noSandbox) // Chromium has none for root
	}
	said, err := b.start(ctx, folder, args)
	if err != nil && !slices.Contains(args, noSandbox) && strings.Contains(said, "No usable sandbox") {
		// A container, or a system that gives its users none.
		said, err = b.start(ctx, folder, append(args, noSandbox))
	}
	made, readErr := os.ReadFile(filepath.Join(folder, to))
	switch {
	case ctx.Err() != nil:
		return nil, fmt.Errorf("printing by %s was given up: %w", b.path, ctx.Err())
	case err != nil || readErr != nil:
		return nil, fmt.Errorf("%s did not print (%v): %s", b.path, errors.Join(err, readErr), tail(said))
	}
	return made, nil
}

// noSandbox lets Chromium run where it can have no sandbox: the pages are our own,
// without scripts and with everything in them escaped.
const noSandbox = "--no-sandbox"

// start runs Chromium once, and returns what it said.
func (b *Browser) start(ctx context.Context, folder string, args []string) (said string, err error) {
	command := exec.CommandContext(ctx, b.path, args...)
	command.Dir = folder
	command.WaitDelay = 5 * time.Second
	var out bytes.Buffer
	command.Stdout, command.Stderr = &out, &out
	err = command.Run()
	return out.String(), err
}

// tail is the last lines of what a program said.
func tail(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(lines[max(0, len(lines)-5):], "; ")
}

var pageObject = regexp.MustCompile(`/Type\s*/Page[^s]`)

// Pages counts the pages of a PDF of Chromium, whose page objects are not packed.
func Pages(pdf []byte) int { return len(pageObject.FindAll(pdf, -1)) }
