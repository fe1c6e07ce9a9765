package paper

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	pb "millbase/proto/millbase/v1"
)

var mediaBox = regexp.MustCompile(`/MediaBox\s*\[\s*0\s+0\s+([0-9.]+)\s+([0-9.]+)\s*\]`)

// pagesOf holds every page of a PDF to A4, 595.28 by 841.89 points (ISO 216), and
// counts them.
func pagesOf(t *testing.T, pdf []byte) int {
	t.Helper()
	boxes := mediaBox.FindAllSubmatch(pdf, -1)
	if len(boxes) == 0 || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Fatalf("no PDF: %.60q", pdf)
	}
	for _, b := range boxes {
		wide, _ := strconv.ParseFloat(string(b[1]), 64)
		high, _ := strconv.ParseFloat(string(b[2]), 64)
		if math.Abs(wide-595.28) > 1 || math.Abs(high-841.89) > 1 {
			t.Errorf("a page of %g by %g points is not A4", wide, high)
		}
	}
	return Pages(pdf)
}

func TestCopiesFitTheirPages(t *testing.T) {
	b := printer(t)
	for name, c := range map[string]struct {
		internal                bool
		quantities, parts, long int
		atLeast, atMost         int
	}{
		"customer":                     {false, 3, 0, 1, 1, 1},
		"customer, 20 quantities":      {false, 20, 0, 1, 1, 1},
		"customer, 20 and long names":  {false, 20, 0, 8, 1, 1},
		"internal":                     {true, 4, 6, 1, 1, 1},
		"internal, 10 parts":           {true, 5, 10, 1, 1, 1},
		"internal, goes on":            {true, 20, 30, 1, 3, 6},
		"internal, long and many more": {true, 20, 30, 6, 4, 16},
	} {
		t.Run(name, func(t *testing.T) {
			var page []byte
			var err error
			if c.internal {
				page, err = Internal(quoteOf(c.quantities, c.parts, c.long), "Tarnbeck Ink Works")
			} else {
				page, err = Customer(customerOf(c.quantities, c.long))
			}
			if err != nil {
				t.Fatal(err)
			}
			pdf, err := b.PDF(t.Context(), page)
			if err != nil {
				t.Fatal(err)
			}
			if n := pagesOf(t, pdf); n < c.atLeast || n > c.atMost {
				t.Errorf("%d pages, want %d to %d", n, c.atLeast, c.atMost)
			}
		})
	}
}

// The picture shows the colours that it was given, where it says so.
func TestThePictureShowsTheColours(t *testing.T) {
	s := quoteOf(1, 1, 1).Shade
	folder := t.TempDir()
	files, err := Copy{Base: "x", Page: []byte("<p>x"), Shade: s}.Write(t.Context(), folder, printer(t))
	if err != nil || len(files) != 4 {
		t.Fatalf("wrote %v: %v", files, err)
	}
	_, width, height, err := Picture(s)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(folder, "x-shade.png"))
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil || img.Bounds() != image.Rect(0, 0, 3*width, 3*height) {
		t.Fatalf("%v, %v, want three times %d by %d", err, img.Bounds(), width, height)
	}
	p := pictureOf(s)
	at := func(x, y float64) color.RGBA {
		return color.RGBAModel.Convert(img.At(int(3*(x+edge)), int(3*(y+edge)))).(color.RGBA)
	}
	for i, l := range s.Lights {
		for x, want := range map[float64]string{p.Pairs[i].Left + 20: l.TargetSwatch, p.Pairs[i].Mid + 20: l.PredictedSwatch} {
			rgb, _ := strconv.ParseUint(want[1:], 16, 32)
			if got := at(x, p.Pairs[i].Y+20); got != (color.RGBA{uint8(rgb >> 16), uint8(rgb >> 8), uint8(rgb), 255}) {
				t.Errorf("light %d at %g shows %v, want %s", i, x, got, want)
			}
		}
	}
}

// The lines of the plot stand where their values say: 0 at the foot, 1 at the top,
// the first wavelength at the left edge.
func TestThePlotIsToScale(t *testing.T) {
	flat := func(v ...float64) *pb.Curve { return &pb.Curve{FirstNm: 400, StepNm: 20, Values: v} }
	g := plotOf(10, 20, flat(0, 1, 0.5, 0.25), flat(1, 1))
	if want := "10.00,170.00 96.67,20.00 183.33,95.00 270.00,132.50"; g.Target != want {
		t.Errorf("target %s, want %s", g.Target, want)
	}
	if want := "10.00,20.00 96.67,20.00"; g.Ink != want {
		t.Errorf("ink %s, want %s", g.Ink, want)
	}
	if n := len(g.Up); n != 6 || g.Up[5].Label != "1.0" || g.Up[5].At != 20 || len(g.Across) != 2 || g.Across[1].Label != "450" {
		t.Errorf("ticks %v %v", g.Up, g.Across)
	}
	if g = plotOf(0, 0, flat(1.3, 0, 0), nil); g.Up[len(g.Up)-1].Label != "1.4" || len(g.Keys) != 1 || g.Ink != "" {
		t.Errorf("a fluorescent target alone: %v, %v", g.Up, g.Keys)
	}
	if g = plotOf(0, 0, nil, nil); g.Target != "" || len(g.Across) != 0 {
		t.Errorf("no curve: %v", g)
	}
}

func TestABrowserThatFails(t *testing.T) {
	if _, err := FindBrowser(filepath.Join(t.TempDir(), "none")); !errors.Is(err, ErrNoBrowser) {
		t.Errorf("a browser that is not there: %v", err)
	}
	idle, err := FindBrowser("true")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := idle.PDF(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "did not print") {
		t.Errorf("a program that prints nothing: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := printer(t).PDF(ctx, []byte("<p>x")); !errors.Is(err, context.Canceled) {
		t.Errorf("given up: %v", err)
	}
	files, err := Copy{Base: "x", Page: []byte("<p>x"), Shade: quoteOf(1, 1, 1).Shade}.Write(t.Context(), t.TempDir(), idle)
	if err == nil || len(files) != 2 {
		t.Errorf("wrote %v: %v", files, err)
	}
}
