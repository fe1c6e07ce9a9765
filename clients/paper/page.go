package paper

import (
	"bytes"
	"embed"
	"html/template"
)

//go:embed *.html *.css *.svg
var files embed.FS

var pages = template.Must(template.New("").ParseFS(files, "*.html", "*.css", "*.svg"))

// set fills a page in; html/template escapes whatever it is given.
func set(name string, page any) ([]byte, error) {
	var b bytes.Buffer
	err := pages.ExecuteTemplate(&b, name, page)
	return b.Bytes(), err
}
