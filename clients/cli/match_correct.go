package main

import (
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const shadeCorrectHelp = `Finds what to add to a batch in the pot whose drawdown is off its shade: the cheapest
additions that bring it within the tolerance, or with --least-mass the smallest. The
pot counts as it was measured; from the difference to what its bases were expected to
print it is worked out how strong they really are, and what is added is counted so.

What is in the pot comes from the batch's weights, or from --pot. When not all of the
pot can be brought in, it says how much of it can and what is in the way (exit code 3).

` + colourHelp + `

Nothing is booked. --file asks a question of your own as JSON of the API's
CorrectShadeRequest ("-" reads standard input).`

// potQuestion is what the flags of a shade correction say.
type potQuestion struct {
	r                                 pb.CorrectShadeRequest
	pot                               pb.CorrectBatchRequest
	measured, target, on              string
	under, second                     string
	in, sets, without, only           []string
	basis, division, specification    string
	file                              string
	opaque, offers, weighable, drawIt bool
}

func (a *app) correctShade() *cobra.Command {
	q := &potQuestion{}
	c := &cobra.Command{
		Use: "correct [BATCH]", Short: "Bring a batch in the pot to its shade, from its drawdown", Long: shadeCorrectHelp,
		Example: `  millbase match correct b-117 --measured draw.txt#b-117 --target customer.txt#sample --on uncoated-white
  millbase match correct --pot lots/l-1042=36.5 --pot lots/l-1077=80 --measured draw.csv --target 52.1,38.2,-12.4 --on coated-gloss --capacity 140 --division 10g`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := q.request(a, cmd, args)
			if err != nil {
				return err
			}
			return a.bringIn(cmd, r, q.drawIt)
		},
	}
	f := c.Flags()
	f.StringVar(&q.measured, "measured", "", "the drawdown of what is in the pot: FILE#SAMPLE")
	f.StringVar(&q.target, "target", "", "the colour that it should have: FILE#SAMPLE or L*,a*,b*")
	f.StringVar(&q.on, "on", "", "the paper of the drawdown: a substrate of the colour book")
	f.Float64Var(&q.r.ToleranceDe00, "within", 1, "the CIEDE2000 difference that is allowed")
	f.StringVar(&q.under, "under", "", "light and observer that count: D50/2, D65/10 (default D50/2)")
	f.StringVar(&q.second, "second", "", "the second light (default A with the same observer)")
	f.BoolVar(&q.opaque, "opaque", false, "an opaque mixture instead of a translucent film")
	f.StringArrayVar(&q.in, "pot", nil, "what is in the pot, when it is no batch or differs from its ticket: lots/l-1042=36.5")
	f.Float64Var(&q.pot.CapacityKg, "capacity", 0, "what the pot holds, kg (default twice what is in it)")
	f.BoolVar(&q.pot.LeastMass, "least-mass", false, "the least added mass instead of the least cost")
	f.BoolVar(&q.weighable, "weighable", false, "additions by the divisions of the plant's scales")
	f.StringVar(&q.division, "division", "", "additions are whole divisions of this scale: 10g, 0.1kg (default 1 mg)")
	f.StringVar(&q.specification, "specification", "", "limits that the ink has to keep (default that of the batch)")
	f.StringArrayVar(&q.sets, "set", nil, "change a limit for this question: 'voc<=60', 'tack=9..11' (with --specification)")
	f.StringVar(&q.pot.Date, "date", "", "day it is corrected, YYYY-MM-DD (default today)")
	f.StringVar(&q.basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.BoolVar(&q.offers, "offers", false, "what can be bought in time may be added too")
	f.StringSliceVar(&q.only, "only", nil, "only these materials may be added")
	f.StringSliceVar(&q.without, "without", nil, "leave out a lot, material or offer, by its full name")
	f.StringVar(&q.file, "file", "", "the whole question as JSON")
	f.BoolVar(&q.drawIt, "plot", false, "draw the curves of target and corrected ink")
	return c
}

// request is the question that the flags ask.
func (q *potQuestion) request(a *app, cmd *cobra.Command, args []string) (*pb.CorrectShadeRequest, error) {
	r, p := &q.r, &q.pot
	switch {
	case q.file != "":
		r = &pb.CorrectShadeRequest{}
		return r, readJSON(q.file, cmd.InOrStdin(), r)
	case q.measured == "" || q.target == "" || q.on == "":
		return nil, &exit{exitUsage, "give the drawdown of the pot (--measured), the colour that it should have (--target) and the paper (--on)"}
	case len(args) == 1:
		p.Batch = prefixed("batches", args[0])
	}
	p.Specification = prefixed("specifications", q.specification)
	p.Book = &pb.BookCandidates{StockOnly: !q.offers, Excluded: q.without}
	for _, m := range q.only {
		p.Book.Materials = append(p.Book.Materials, prefixed("materials", m))
	}
	if err := a.correctRequest(cmd, p, nil, q.in, q.sets, q.basis, q.division, q.weighable); err != nil {
		return nil, err
	}
	r.Batch, r.Pot, r.CapacityKg, r.LeastMass, r.Specification, r.Limits = p.Batch, p.Pot, p.CapacityKg, p.LeastMass, p.Specification, p.Limits
	r.Date, r.CostBasis, r.Book, r.Weighing = p.Date, p.CostBasis, p.Book, p.Weighing
	r.Print = shadePrint(q.on, q.opaque)
	conn, err := a.client()
	if err != nil {
		return nil, err
	}
	if r.Measured, err = a.curve(cmd.Context(), conn, q.measured); err != nil {
		return nil, err
	}
	if r.Target, err = a.shadeTarget(cmd, q.target); err != nil {
		return nil, err
	}
	if r.Viewing, err = parseViewing(q.under); err != nil {
		return nil, err
	}
	r.SecondViewing, err = parseViewing(q.second)
	return r, err
}

// shadePrint is a print on a paper of the colour book.
func shadePrint(on string, opaque bool) *pb.ShadePrint {
	out := &pb.ShadePrint{Substrate: prefixed("substrates", on)}
	if opaque {
		out.Mode = pb.PrintMode_PRINT_MODE_OPAQUE
	}
	return out
}

func (a *app) bringIn(cmd *cobra.Command, r *pb.CorrectShadeRequest, drawIt bool) error {
	conn, err := a.client()
	if err != nil {
		return err
	}
	answer, err := pb.NewShadeServiceClient(conn).CorrectShade(cmd.Context(), r)
	if err != nil {
		return a.failed(err)
	}
	if err := a.show(answer, func() { printShadeCorrection(a.out, answer, drawIt) }); err != nil {
		return err
	}
	switch answer.Outcome {
	case pb.CorrectionOutcome_CORRECTION_OUTCOME_IN_PART, pb.CorrectionOutcome_CORRECTION_OUTCOME_IMPOSSIBLE:
		return &exit{code: exitNoFormula}
	}
	return nil
}

// printShadeCorrection prints what to add, and the colour before and after.
func printShadeCorrection(w io.Writer, r *pb.CorrectShadeResponse, drawIt bool) {
	fmt.Fprintln(w, wrap(r.Summary, 100, ""))
	if len(r.Additions) > 0 {
		fmt.Fprintln(w)
		printAdditions(w, r.Additions)
	}
	fmt.Fprintln(w)
	t := newTable("", ">target", ">expected", ">measured", ">after")
	for k, l := range r.Measured {
		lights := []*pb.ShadeLight{r.Expected[k], l, r.After[k]}
		row := func(name, target string, of func(*pb.ShadeLight) string) {
			t.add(name, target, of(lights[0]), of(lights[1]), of(lights[2]))
		}
		labRows(l, func(name, target string, part func(*pb.Lab) float64) {
			row(name, target, func(x *pb.ShadeLight) string { return fixed(part(x.Predicted), 2) })
		})
		if l.Target != nil {
			row(lightHead(l), "", func(x *pb.ShadeLight) string { return maybe(x.De00) })
		}
	}
	t.print(w)
	if drawIt {
		fmt.Fprintln(w)
		printCurves(w, r.TargetCurve, r.Curve, "target", "after")
	}
	printStrengths(w, r)
	if len(r.LimitsBefore) > 0 {
		fmt.Fprintln(w)
		printBeforeAfter(w, r.LimitsBefore, r.LimitsAfter)
	}
	printAssumptions(w, r.Assumptions)
	printCautions(w, r.Cautions)
}

// printStrengths lists the parts of the pot that turned out stronger or weaker than
// their drawdowns.
func printStrengths(w io.Writer, r *pb.CorrectShadeResponse) {
	t := newTable("in the pot", ">strength found %")
	for _, s := range r.Strengths {
		if math.Abs(s.Factor-1) > 0.005 {
			t.add(label(s.Title, s.Candidate), fixed(100*s.Factor, 1))
		}
	}
	if len(t.rows) > 0 {
		fmt.Fprintln(w)
		t.print(w)
	}
}
