package paper

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"

	pb "millbase/proto/millbase/v1"
)

// Copy is one copy of a quote, ready to be written.
type Copy struct {
	Base  string         // of the files' names: "q-31-r2-customer"
	Page  []byte         // HTML
	Shade *pb.QuoteShade // what its picture shows; nil: none
}

// CustomerCopy sets the copy for the customer; its picture has swatches only.
func CustomerCopy(q *pb.CustomerQuote) (Copy, error) {
	page, err := Customer(q)
	c := Copy{Base: base(q.Name, q.Revision, "customer"), Page: page}
	if q.Shade != nil {
		c.Shade = &pb.QuoteShade{Lights: q.Shade.Lights}
	}
	return c, err
}

// InternalCopy sets the plant's own copy; plant is who quotes.
func InternalCopy(q *pb.Quote, plant string) (Copy, error) {
	page, err := Internal(q, plant)
	return Copy{Base: base(q.Name, q.Revision, "internal"), Page: page, Shade: q.Shade}, err
}

func base(name string, revision int32, kind string) string {
	return fmt.Sprintf("%s-r%d-%s", last(name), revision, kind)
}

// File is a file that was written.
type File struct {
	Path, What string
}

// Write writes a copy to a folder: the page, and the picture as SVG; with a browser
// also the PDF, and the picture as PNG. What was written before an error is named.
func (c Copy) Write(ctx context.Context, folder string, browser *Browser) (files []File, err error) {
	put := func(suffix, what string, content []byte) error {
		path := filepath.Join(folder, c.Base+suffix)
		if err := os.WriteFile(path, content, 0o644); err != nil {
			return err
		}
		files = append(files, File{path, what})
		return nil
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, err
	}
	if err := put(".html", "page", c.Page); err != nil {
		return files, err
	}
	var svg []byte
	var width, height int
	if c.Shade != nil {
		if svg, width, height, err = Picture(c.Shade); err != nil {
			return files, err
		}
		if err := put("-shade.svg", "picture of the shade", svg); err != nil {
			return files, err
		}
	}
	if browser == nil {
		return files, nil
	}
	page, pdf, err := fitted(ctx, browser, c.Page)
	if err != nil {
		return files, err
	}
	if err := os.WriteFile(files[0].Path, page, 0o644); err != nil { // as it was printed
		return files, err
	}
	n := Pages(pdf)
	what := "to print, 1 page A4"
	if n != 1 {
		what = fmt.Sprintf("to print, %d pages A4", n)
	}
	if err := put(".pdf", what, pdf); err != nil || svg == nil {
		return files, err
	}
	png, err := browser.PNG(ctx, svg, width, height)
	if err != nil {
		return files, err
	}
	return files, put("-shade.png", "picture of the shade", png)
}

// smaller are the sizes that a page of a little more than one sheet is tried at.
var smaller = []string{"0.92", "0.84"}

// fitted prints a page. One that runs on to a second sheet is set a little smaller
// where that brings it on one; what needs more sheets keeps its size.
func fitted(ctx context.Context, browser *Browser, page []byte) (as, pdf []byte, err error) {
	if pdf, err = browser.PDF(ctx, page); err != nil || Pages(pdf) != 2 {
		return page, pdf, err
	}
	for _, size := range smaller {
		tight := bytes.Replace(page, []byte("</style>"), []byte("@media print{body{zoom:"+size+"}}</style>"), 1)
		again, err := browser.PDF(ctx, tight)
		if err != nil {
			return page, nil, err
		}
		if Pages(again) == 1 {
			return tight, again, nil
		}
	}
	return page, pdf, nil
}
