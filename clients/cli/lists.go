package main

import (
	"context"

	"github.com/spf13/cobra"
)

// page fetches one page of a list: the token of the next one is empty at the end.
type page[T any] func(ctx context.Context, token string) (rows []T, next string, err error)

// all collects every page, up to most rows (0: no limit).
func all[T any](ctx context.Context, most int, fetch page[T]) ([]T, error) {
	var out []T
	token := ""
	for {
		rows, next, err := fetch(ctx, token)
		if err != nil {
			return nil, err
		}
		out = append(out, rows...)
		if most > 0 && len(out) >= most {
			return out[:most], nil
		}
		if next == "" {
			return out, nil
		}
		token = next
	}
}

// listFlags are the flags that lists share.
type listFlags struct {
	filter string
	most   int
}

func (l *listFlags) add(c *cobra.Command, fields string) {
	c.Flags().StringVar(&l.filter, "filter", "", "only these: field = value, joined by AND ("+fields+")")
	c.Flags().IntVar(&l.most, "most", 0, "at most this many rows (0: all)")
}

// pageSize asks for no more than is wanted.
func (l *listFlags) pageSize() int32 {
	if l.most > 0 && l.most < 1000 {
		return int32(l.most)
	}
	return 1000
}
