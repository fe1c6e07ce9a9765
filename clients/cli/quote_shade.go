package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	pb "millbase/proto/millbase/v1"
)

// quoteShade is what the flags say of a shade that is matched for a quote.
type quoteShade struct {
	shadeQuestion
	colour, offer, ink string
}

func (s *quoteShade) flags(f *pflag.FlagSet) {
	f.StringVar(&s.colour, "shade", "", "the colour to match instead of a formula: L*,a*,b*, or a measurement as FILE#SAMPLE (with --on)")
	f.StringVar(&s.offer, "offer", "", "which match is quoted: cheapest, closest, fewest-bases, least-metameric (default cheapest)")
	f.StringVar(&s.ink, "ink", "", "id of the ink that acceptance adds to the book (default: the quote's)")
	s.shadeQuestion.flags(f)
}

// of is the shade of the quote; nil without --shade.
func (s *quoteShade) of(a *app, cmd *cobra.Command) (*pb.QuoteShade, error) {
	if s.colour == "" {
		if s.on != "" {
			return nil, &exit{exitUsage, "--on is the paper of a shade: name the colour with --shade"}
		}
		return nil, nil
	}
	asked, err := s.request(a, cmd, []string{s.colour})
	if err != nil {
		return nil, err
	}
	out := &pb.QuoteShade{Match: asked, Material: prefixed("materials", s.ink)}
	if s.offer != "" {
		out.Offer, err = enum[pb.ShadeOfferKind](pb.ShadeOfferKind_value, "SHADE_OFFER_KIND_", s.offer)
	}
	return out, err
}
