package migrations

import (
	"embed"
	"io/fs"
)

//go:embed *.sql
var files embed.FS

// Files are the migrations themselves.
func Files() fs.FS { return files }
