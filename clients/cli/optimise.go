package main

import (
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

const optimiseHelp = `Finds the cheapest formula that meets every limit of a specification, from the
released lots on hand and the offers that can arrive in time, and explains it:
what each limit costs, and at what price each unused lot would come in.

When nothing meets the limits it says which of them clash, and by how little they
must move (exit code 3).

--set changes a limit for this question only: --set voc<=60, --set tack=9..11.
--file asks a question of your own, candidates included, as JSON of the API's
OptimiseRequest ("-" reads standard input).`

func (a *app) optimise() *cobra.Command {
	var r pb.OptimiseRequest
	var basis, file string
	var sets, without []string
	var prefer preference
	var stockOnly, all bool
	c := &cobra.Command{
		Use: "optimise [SPECIFICATION]", Short: "Find the cheapest formula and explain it", Long: optimiseHelp, GroupID: groupMake,
		Example: `  millbase optimise sheetfed-cyan --kg 250
  millbase optimise sheetfed-cyan --kg 250 --basis replacement --set 'voc<=40'
  millbase optimise sheetfed-cyan --kg 250 --use-up 30d,work-off --premium 0.50
  millbase optimise --file alloy.json --json`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			request := &r
			if file != "" {
				if request, err = readRequest(file, cmd.InOrStdin()); err != nil {
					return err
				}
			} else if len(args) == 0 {
				return &exit{exitUsage, "name a specification, or give --file; 'millbase specifications' lists them"}
			} else {
				request.Specification = prefixed("specifications", args[0])
				request.Book = &pb.BookCandidates{StockOnly: stockOnly, Excluded: without}
			}
			if err := prefer.into(request); err != nil {
				return err
			}
			if basis != "" {
				if request.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", basis); err != nil {
					return err
				}
			}
			if len(sets) > 0 {
				if err := a.overlay(cmd, request, sets); err != nil {
					return err
				}
			}
			answer, err := pb.NewOptimiserServiceClient(conn).Optimise(cmd.Context(), request)
			if err != nil {
				return a.failed(err)
			}
			if err := a.show(answer, func() { printAnswer(a.out, answer, all) }); err != nil {
				return err
			}
			if answer.Outcome == pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE {
				return &exit{code: exitNoFormula}
			}
			return nil
		},
	}
	f := c.Flags()
	f.Float64Var(&r.QuantityKg, "kg", 100, "finished ink, kg")
	f.StringVar(&r.Date, "date", "", "day it is made, YYYY-MM-DD (default today)")
	f.StringVar(&basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.BoolVar(&stockOnly, "stock-only", false, "leave offers out")
	f.StringSliceVar(&without, "without", nil, "leave out a lot, material or offer, by its full name")
	f.StringArrayVar(&sets, "set", nil, "change a limit for this question: 'voc<=60', 'wax>=0.02', 'tack=9..11'")
	prefer.flags(f)
	f.StringVar(&file, "file", "", "the whole question as JSON")
	f.BoolVar(&all, "all", false, "also list the unused candidates and those left out")
	return c
}

func readRequest(file string, stdin io.Reader) (*pb.OptimiseRequest, error) {
	request := &pb.OptimiseRequest{}
	return request, readJSON(file, stdin, request)
}

// readJSON reads a request from a file, "-" for standard input.
func readJSON(file string, stdin io.Reader, into proto.Message) error {
	var text []byte
	var err error
	if file == "-" {
		text, err = io.ReadAll(stdin)
	} else {
		text, err = os.ReadFile(file)
	}
	if err != nil {
		return &exit{exitUsage, err.Error()}
	}
	if err := protojson.Unmarshal(text, into); err != nil {
		return &exit{exitUsage, fmt.Sprintf("%s: %v", file, err)}
	}
	return nil
}

var setPattern = regexp.MustCompile(`^([a-z0-9-]+)\s*(<=|>=|=)\s*(.+)$`)

// change is one --set.
type change struct {
	id           string
	lower, upper *float64
}

func parseChange(text string) (change, error) {
	wrong := &exit{exitUsage, fmt.Sprintf("--set %q: write 'voc<=60', 'wax>=0.02', 'tack=9..11' or 'density=1.04'", text)}
	m := setPattern.FindStringSubmatch(text)
	if m == nil {
		return change{}, wrong
	}
	from, to, isRange := strings.Cut(m[3], "..")
	if !isRange {
		to = from
	}
	low, err1 := strconv.ParseFloat(from, 64)
	high, err2 := strconv.ParseFloat(to, 64)
	if err1 != nil || err2 != nil || isRange && m[2] != "=" {
		return change{}, wrong
	}
	c := change{id: m[1]}
	if m[2] != "<=" {
		c.lower = &low
	}
	if m[2] != ">=" {
		c.upper = &high
	}
	return c, nil
}

// overlay puts the changed limits into the request, taken from the specification.
func (a *app) overlay(cmd *cobra.Command, r *pb.OptimiseRequest, sets []string) error {
	conn, err := a.client()
	if err != nil {
		return err
	}
	spec, err := pb.NewSpecificationServiceClient(conn).GetSpecification(cmd.Context(), &pb.GetSpecificationRequest{Name: r.Specification})
	if err != nil {
		return a.failed(err)
	}
	for _, text := range sets {
		c, err := parseChange(text)
		if err != nil {
			return err
		}
		found := false
		for _, l := range spec.Limits {
			if l.LimitId != c.id {
				continue
			}
			found = true
			if c.lower != nil {
				l.Lower = c.lower
			}
			if c.upper != nil {
				l.Upper = c.upper
			}
			r.Limits = append(r.Limits, l)
		}
		if !found {
			var ids []string
			for _, l := range spec.Limits {
				ids = append(ids, l.LimitId)
			}
			return &exit{exitUsage, fmt.Sprintf("%s has no limit %q; it has %s", id(spec.Name), c.id, strings.Join(ids, ", "))}
		}
	}
	return nil
}
