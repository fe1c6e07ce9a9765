package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"millbase/clients/paper"
	pb "millbase/proto/millbase/v1"
)

const quotePrintHelp = `Writes a quote as paper into a folder: a page (HTML), the page to print (PDF), and the
picture of the shade asked for and the shade matched (SVG and PNG).

The customer copy has prices and how near the shade is, neither formula nor cost. The
internal copy has both, and the margin. Each is one A4 page; what does not fit goes on
to further pages. PDF and PNG need Chromium on this machine.`

func (a *app) quotePrint() *cobra.Command {
	kind, folder, browser, plain := "customer", ".", "", false
	c := &cobra.Command{
		Use: "print QUOTE", Short: "Write a quote as paper: customer or internal copy", Args: cobra.ExactArgs(1), Long: quotePrintHelp,
		Example: "  millbase quote print q-31 --to quotes\n  millbase quote print q-31@2 --copy internal --to quotes",
		RunE: func(cmd *cobra.Command, args []string) error {
			if kind != "customer" && kind != "internal" {
				return &exit{exitUsage, fmt.Sprintf("--copy %q is not known; use customer or internal", kind)}
			}
			conn, err := a.client()
			if err != nil {
				return err
			}
			var printer *paper.Browser
			if !plain {
				if printer, err = paper.FindBrowser(browser); err != nil {
					return &exit{exitUsage, err.Error() + ", which --html-only writes"}
				}
			}
			quote, sheet, err := a.quoteCopy(cmd.Context(), conn, prefixed("quotes", args[0]), kind)
			if err != nil {
				return err
			}
			files, err := sheet.Write(cmd.Context(), folder, printer)
			if err != nil {
				return &exit{exitFailed, err.Error()}
			}
			return a.show(quote, func() {
				t := newTable("written", "what")
				for _, f := range files {
					t.add(f.Path, f.What)
				}
				t.print(a.out)
			})
		},
	}
	f := c.Flags()
	f.StringVar(&kind, "copy", kind, "customer or internal")
	f.StringVar(&folder, "to", folder, "folder for the files; it is made if it is missing")
	f.StringVar(&browser, "browser", "", "the Chromium that prints (default: the one on the path)")
	f.BoolVar(&plain, "html-only", false, "neither PDF nor PNG, so that no Chromium is needed")
	return c
}

// quoteCopy reads a quote as it is meant for its reader, and sets it. The plant's
// name stands in the customer copy of the same revision.
func (a *app) quoteCopy(ctx context.Context, conn grpc.ClientConnInterface, name, kind string) (proto.Message, paper.Copy, error) {
	quotes := pb.NewQuoteServiceClient(conn)
	if kind == "customer" {
		q, err := quotes.GetCustomerQuote(ctx, &pb.GetCustomerQuoteRequest{Name: name})
		if err != nil {
			return nil, paper.Copy{}, a.failed(err)
		}
		sheet, err := paper.CustomerCopy(q)
		return q, sheet, err
	}
	q, err := quotes.GetQuote(ctx, &pb.GetQuoteRequest{Name: name})
	if err != nil {
		return nil, paper.Copy{}, a.failed(err)
	}
	seen, err := quotes.GetCustomerQuote(ctx, &pb.GetCustomerQuoteRequest{Name: fmt.Sprintf("quotes/%s", quoteName(q))})
	if err != nil {
		return nil, paper.Copy{}, a.failed(err)
	}
	sheet, err := paper.InternalCopy(q, seen.PlantTitle)
	return q, sheet, err
}
