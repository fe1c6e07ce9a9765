package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const correctHelp = `Finds the additions that bring a batch in the pot back within its limits: the
cheapest, or with --least-mass the smallest. What is in the pot comes from the
batch's weights, or from --pot; what was measured on it (--test) takes the place of
what follows from that. A test is named by a limit of the specification, in its
unit, or by a property: tack_units, viscosity_pa_s, density_kg_per_l,
tint_strength_fraction (1 is standard), volatile_fraction, metal_fraction/cobalt.

When not all of the pot can be brought back it says which limits are in the way,
how much of the pot can be kept, what to add to that, and which inks could take in
the rest (exit code 3).

Nothing is booked. --file asks a question of your own as JSON of the API's
CorrectBatchRequest ("-" reads standard input).`

func (a *app) correct() *cobra.Command {
	r := &pb.CorrectBatchRequest{}
	var tests, pot, without, sets []string
	var basis, file, specification string
	var offers, weighable bool
	var division string
	c := &cobra.Command{
		Use: "correct [BATCH]", Short: "Bring a batch in the pot back within its limits", Long: correctHelp, GroupID: groupMake,
		Example: `  millbase correct b-117 --test tack_units=12.4 --test viscosity_pa_s=31 --capacity 300
  millbase correct b-117 --test tack=12.4 --least-mass --division 100g
  millbase correct --specification sheetfed-cyan --pot lots/l-1042=36.5 --pot lots/l-1077=140 --test tack=12.4`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			if file != "" {
				err = readJSON(file, cmd.InOrStdin(), r)
			} else {
				if len(args) == 1 {
					r.Batch = prefixed("batches", args[0])
				}
				if specification != "" {
					r.Specification = prefixed("specifications", specification)
				}
				r.Book = &pb.BookCandidates{StockOnly: !offers, Excluded: without}
				err = a.correctRequest(cmd, r, tests, pot, sets, basis, division, weighable)
			}
			if err != nil {
				return err
			}
			return a.correctBatch(cmd, r)
		},
	}
	f := c.Flags()
	f.StringArrayVar(&tests, "test", nil, "a test result: tack_units=12.4, voc=262")
	f.StringArrayVar(&pot, "pot", nil, "what is in the pot, when it is no batch or differs from its ticket: lots/l-1042=36.5")
	f.Float64Var(&r.CapacityKg, "capacity", 0, "what the pot holds, kg (default twice what is in it)")
	f.BoolVar(&r.LeastMass, "least-mass", false, "the least added mass instead of the least cost")
	f.BoolVar(&weighable, "weighable", false, "additions by the divisions of the plant's scales")
	f.StringVar(&division, "division", "", "additions are whole divisions of this scale: 10g, 0.1kg (default 1 mg)")
	f.StringVar(&specification, "specification", "", "what the ink has to meet (default that of the batch)")
	f.StringArrayVar(&sets, "set", nil, "change a limit for this question: 'voc<=60', 'tack=9..11' (with --specification)")
	f.StringVar(&r.Date, "date", "", "day it is corrected, YYYY-MM-DD (default today)")
	f.StringVar(&basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.BoolVar(&offers, "offers", false, "what can be bought in time may be added too")
	f.StringSliceVar(&without, "without", nil, "leave out a lot, material or offer, by its full name")
	f.StringVar(&file, "file", "", "the whole question as JSON")
	return c
}

// correctRequest puts the flags into the request.
func (a *app) correctRequest(cmd *cobra.Command, r *pb.CorrectBatchRequest, tests, pot, sets []string, basis, division string, weighable bool) error {
	if r.Batch == "" && len(pot) == 0 {
		return &exit{exitUsage, "name a batch, or say what is in the pot (--pot); 'millbase batch' lists the batches"}
	}
	r.Tests = map[string]float64{}
	for _, text := range tests {
		key, v, err := measured("--test", text)
		if err != nil {
			return err
		}
		r.Tests[key] = v
	}
	for _, text := range pot {
		key, v, err := measured("--pot", text)
		if err != nil {
			return err
		}
		if !strings.Contains(key, "/") {
			key = "lots/" + key
		}
		r.Pot = append(r.Pot, &pb.PotComponent{Candidate: key, MassKg: v})
	}
	if weighable {
		r.Weighing = &pb.Weighing{}
	}
	if division != "" {
		v, err := parseMass("division", division)
		if err != nil {
			return err
		}
		r.Weighing = &pb.Weighing{Scales: []*pb.Scale{{DivisionKg: v}}}
	}
	if len(sets) > 0 {
		if r.Specification == "" {
			return &exit{exitUsage, "--set changes a limit of a specification: name it with --specification"}
		}
		with := &pb.OptimiseRequest{Specification: r.Specification}
		if err := a.overlay(cmd, with, sets); err != nil {
			return err
		}
		r.Limits = with.Limits
	}
	if basis == "" {
		return nil
	}
	var err error
	r.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", basis)
	return err
}

// measured reads "name=number".
func measured(flag, text string) (string, float64, error) {
	at := strings.LastIndex(text, "=")
	if at > 0 {
		if v, err := strconv.ParseFloat(strings.TrimSpace(text[at+1:]), 64); err == nil {
			return strings.TrimSpace(text[:at]), v, nil
		}
	}
	return "", 0, &exit{exitUsage, fmt.Sprintf("%s %q: write a name, = and a number, such as tack_units=12.4", flag, text)}
}

func (a *app) correctBatch(cmd *cobra.Command, r *pb.CorrectBatchRequest) error {
	conn, err := a.client()
	if err != nil {
		return err
	}
	answer, err := pb.NewCorrectionServiceClient(conn).CorrectBatch(cmd.Context(), r)
	if err != nil {
		return a.failed(err)
	}
	if err := a.show(answer, func() { printCorrection(a.out, answer) }); err != nil {
		return err
	}
	switch answer.Outcome {
	case pb.CorrectionOutcome_CORRECTION_OUTCOME_IN_PART, pb.CorrectionOutcome_CORRECTION_OUTCOME_IMPOSSIBLE:
		return &exit{code: exitNoFormula}
	}
	return nil
}

// printCorrection prints what to do with the pot.
func printCorrection(w io.Writer, r *pb.CorrectBatchResponse) {
	fmt.Fprintln(w, wrap(r.Summary, 100, ""))
	if len(r.Additions) > 0 {
		fmt.Fprintln(w)
		printAdditions(w, r.Additions)
	}
	fmt.Fprintln(w)
	printBeforeAfter(w, r.Before, r.After)
	if len(r.WorkOff) > 0 {
		fmt.Fprintf(w, "\nWhere the %s kg that leave the pot could go\n\n", number(r.TakenOutKg, 3))
		t := newTable("ink", ">at most %", ">kg of it", ">in kg", "into")
		for _, o := range r.WorkOff {
			t.add(o.Title, fixed(100*o.MostShare, 1), number(o.MostKg, 3), kg(o.OfKg), o.Into)
		}
		t.print(w)
	}
	printAssumptions(w, r.Assumptions)
	printCautions(w, r.Cautions)
	if p := r.Proof; p != nil && p.Certified {
		fmt.Fprintf(w, "\nProof: %d candidates, %d limits; the answer was checked apart from the engine, and every limit worked out anew from the masses.\n", p.Candidates, p.Limits)
	}
}

// printAdditions prints what to add; quality control has no costs to read.
func printAdditions(w io.Writer, additions []*pb.FormulaComponent) {
	t := newTable("add", ">kg", ">per kg", ">cost", "")
	for _, c := range additions {
		note := ""
		if c.FromOffer {
			note = "to buy"
		} else if c.AtLimit {
			note = "all of it used"
		}
		t.add(label(c.Title, c.Candidate), kg(c.MassKg), cashNumber(c.PricePerKg, 3), cashNumber(c.Cost, 2), note)
	}
	t.print(w)
}

// printBeforeAfter prints limits of a pot before and after the additions.
func printBeforeAfter(w io.Writer, befores, afters []*pb.LimitResult) {
	t := newTable("limit", "asked", ">before", ">after", "unit", "")
	for i, b := range befores {
		after, out := "", ""
		if i < len(afters) {
			after = significant(afters[i].Value, 5)
		}
		if b.Slack < -1e-5*math.Max(math.Abs(b.GetLower()), math.Abs(b.GetUpper())) { // what counts as met
			out = "was out"
		}
		t.add(b.Title, bounds(b.Lower, b.Upper), significant(b.Value, 5), after, b.Unit, out)
	}
	t.print(w)
}
