package rpc

import (
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// ShadeServer serves the matching and correcting of shades.
type ShadeServer struct {
	millbasev1.UnimplementedShadeServiceServer
	book *app.Book
}

// NewShadeServer serves the book's matches.
func NewShadeServer(book *app.Book) *ShadeServer { return &ShadeServer{book: book} }
