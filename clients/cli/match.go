package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	pb "millbase/proto/millbase/v1"
)

const matchHelp = `Finds mixtures of base inks that look like a colour on a paper: the cheapest within
the tolerance, the closest, the one of fewest bases, and the one that changes least
under a second light. What they look like is predicted from the drawdowns of the base
inks on that paper ('millbase colour characterised'); a base that was never drawn down
there is left out.

` + colourHelp + `

Without --specification only base inks go in. With one, its limits count beside the
shade, and varnishes, oils, waxes and driers may go in too.

A colour out of reach is answered with how near it comes and why (exit code 3).
--file asks a question of your own as JSON of the API's MatchShadeRequest ("-" reads
standard input).

` + weighingHelp

// shadeQuestion is what the flags of a match say.
type shadeQuestion struct {
	r                          pb.MatchShadeRequest
	on, under, second, basis   string
	specification, file        string
	sets, only, without, kinds []string
	opaque, stockOnly          bool
	all, plot                  bool
	weigh                      weigher
}

func (a *app) match() *cobra.Command {
	q := &shadeQuestion{}
	c := &cobra.Command{
		Use: "match [COLOUR]", Short: "Match a spot colour from base inks", Long: matchHelp, GroupID: groupMake,
		Example: `  millbase match customer.txt#sample --on uncoated-white --kg 120
  millbase match 52.1,38.2,-12.4 --on coated-gloss --kg 50 --within 0.5 --bases 3 --frontier 6
  millbase match customer.csv#A12 --on coated-gloss --specification spot-green --weighable`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := q.request(a, cmd, args)
			if err != nil {
				return err
			}
			return a.matchShade(cmd, r, q)
		},
	}
	f := c.Flags()
	q.flags(f)
	f.Float64Var(&q.r.QuantityKg, "kg", 100, "finished ink, kg")
	f.StringSliceVar(&q.kinds, "offers", nil, "cheapest, closest, fewest-bases, least-metameric (default all)")
	f.Int32Var(&q.r.FrontierPoints, "frontier", 0, "so many points of cost against difference")
	f.StringVar(&q.r.Date, "date", "", "day it is made, YYYY-MM-DD (default today)")
	f.StringVar(&q.basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.StringVar(&q.file, "file", "", "the whole question as JSON")
	f.BoolVar(&q.all, "all", false, "list every limit, and what was left out and why")
	f.BoolVar(&q.plot, "plot", false, "draw the curves of target and first offer")
	c.AddCommand(a.correctShade())
	return c
}

// flags are those of the shade and of what counts beside it.
func (q *shadeQuestion) flags(f *pflag.FlagSet) {
	f.StringVar(&q.on, "on", "", "the paper: a substrate of the colour book")
	f.Float64Var(&q.r.ToleranceDe00, "within", 1, "the CIEDE2000 difference that is allowed")
	f.StringVar(&q.under, "under", "", "light and observer that count: D50/2, D65/10 (default D50/2)")
	f.StringVar(&q.second, "second", "", "the second light (default A with the same observer)")
	f.Int32Var(&q.r.MaxBases, "bases", 0, "at most so many coloured materials")
	f.BoolVar(&q.opaque, "opaque", false, "an opaque mixture instead of a translucent film")
	f.StringVar(&q.specification, "specification", "", "limits that count beside the shade")
	f.StringArrayVar(&q.sets, "set", nil, "change a limit for this question: 'voc<=60', 'tack=9..11' (with --specification)")
	f.BoolVar(&q.stockOnly, "stock-only", false, "leave offers out")
	f.StringSliceVar(&q.only, "only", nil, "only these materials")
	f.StringSliceVar(&q.without, "without", nil, "leave out a lot, material or offer, by its full name")
	q.weigh.flags(f)
}

// request is the question that the flags ask.
func (q *shadeQuestion) request(a *app, cmd *cobra.Command, args []string) (*pb.MatchShadeRequest, error) {
	r := &q.r
	switch {
	case q.file != "":
		r = &pb.MatchShadeRequest{}
		return r, readJSON(q.file, cmd.InOrStdin(), r)
	case len(args) == 0:
		return nil, &exit{exitUsage, "name the colour: L*,a*,b*, or a measurement file as FILE#SAMPLE; or give --file"}
	case q.on == "":
		return nil, &exit{exitUsage, "say which paper it is printed on (--on); 'millbase colour substrates' lists them"}
	}
	var err error
	r.Print = shadePrint(q.on, q.opaque)
	if r.Target, err = a.shadeTarget(cmd, args[0]); err != nil {
		return nil, err
	}
	if r.Viewing, err = parseViewing(q.under); err != nil {
		return nil, err
	}
	if r.SecondViewing, err = parseViewing(q.second); err != nil {
		return nil, err
	}
	for _, k := range q.kinds {
		kind, err := enum[pb.ShadeOfferKind](pb.ShadeOfferKind_value, "SHADE_OFFER_KIND_", k)
		if err != nil {
			return nil, err
		}
		r.Offers = append(r.Offers, kind)
	}
	with, err := q.beside(a, cmd)
	if err != nil {
		return nil, err
	}
	r.Specification, r.Limits, r.CostBasis, r.Weighing = with.Specification, with.Limits, with.CostBasis, with.Weighing
	r.Book = &pb.BookCandidates{StockOnly: q.stockOnly, Excluded: q.without}
	for _, m := range q.only {
		r.Book.Materials = append(r.Book.Materials, prefixed("materials", m))
	}
	return r, nil
}

// beside is what is asked beside the shade.
func (q *shadeQuestion) beside(a *app, cmd *cobra.Command) (*pb.OptimiseRequest, error) {
	with := &pb.OptimiseRequest{Specification: prefixed("specifications", q.specification)}
	if err := q.weigh.into(with); err != nil {
		return nil, err
	}
	if len(q.sets) > 0 {
		if q.specification == "" {
			return nil, &exit{exitUsage, "--set changes a limit of a specification: name it with --specification"}
		}
		if err := a.overlay(cmd, with, q.sets); err != nil {
			return nil, err
		}
	}
	if q.basis == "" {
		return with, nil
	}
	var err error
	with.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", q.basis)
	return with, err
}

// shadeTarget reads the colour to be made.
func (a *app) shadeTarget(cmd *cobra.Command, text string) (*pb.ShadeTarget, error) {
	conn, err := a.client()
	if err != nil {
		return nil, err
	}
	c, err := a.colour(cmd.Context(), conn, text)
	if err != nil {
		return nil, err
	}
	return &pb.ShadeTarget{Curve: c.Curve, Lab: c.Lab}, nil
}

func (a *app) matchShade(cmd *cobra.Command, r *pb.MatchShadeRequest, q *shadeQuestion) error {
	conn, err := a.client()
	if err != nil {
		return err
	}
	answer, err := pb.NewShadeServiceClient(conn).MatchShade(cmd.Context(), r)
	if err != nil {
		return a.failed(err)
	}
	if err := a.show(answer, func() { printMatch(a.out, answer, q) }); err != nil {
		return err
	}
	if answer.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED {
		return &exit{code: exitNoFormula}
	}
	return nil
}

// kindWord is the heading of an offer.
func kindWord(k pb.ShadeOfferKind) string { return word(k, "SHADE_OFFER_KIND_") }

// shortened cuts a text that is longer than a column.
func shortened(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return strings.TrimSpace(string(runes[:most-3])) + "..."
}

// inBrief is a candidate in at most so many characters: the lot is told in full.
func inBrief(title, candidate string, most int) string {
	of := label(title, candidate)
	if title, lot, ok := strings.Cut(of, ", lot "); ok && len([]rune(of)) > most {
		return shortened(title, max(6, most-2-len([]rune(lot)))) + ", " + lot
	}
	return shortened(of, most)
}

// lightHead names a light in a row's heading.
func lightHead(l *pb.ShadeLight) string { return fmt.Sprintf("CIEDE2000 under %s", viewing(l.Viewing)) }
