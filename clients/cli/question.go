package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// question is what the flags ask of the optimiser.
type question struct {
	r             pb.OptimiseRequest
	basis, file   string
	sets, without []string
	stockOnly     bool
	prefer        preference
	weigh         weigher
	wish          wishes
}

func (q *question) flags(f *pflag.FlagSet) {
	f.Float64Var(&q.r.QuantityKg, "kg", 100, "finished ink, kg")
	f.StringVar(&q.r.Date, "date", "", "day it is made, YYYY-MM-DD (default today)")
	f.StringVar(&q.basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.BoolVar(&q.stockOnly, "stock-only", false, "leave offers out")
	f.StringSliceVar(&q.without, "without", nil, "leave out a lot, material or offer, by its full name")
	f.StringArrayVar(&q.sets, "set", nil, "change a limit for this question: 'voc<=60', 'wax>=0.02', 'tack=9..11'")
	f.StringVar(&q.file, "file", "", "the whole question as JSON")
	q.prefer.flags(f)
	q.weigh.flags(f)
	q.wish.flags(f, &q.r)
}

// request is the question that the flags ask, of the specification in args or of a
// file.
func (q *question) request(a *app, cmd *cobra.Command, args []string) (request *pb.OptimiseRequest, err error) {
	request = &q.r
	switch {
	case q.file != "":
		if request, err = readRequest(q.file, cmd.InOrStdin()); err != nil {
			return nil, err
		}
	case len(args) == 0:
		return nil, &exit{exitUsage, "name a specification, or give --file; 'millbase specifications' lists them"}
	default:
		request.Specification = prefixed("specifications", args[0])
		request.Book = &pb.BookCandidates{StockOnly: q.stockOnly, Excluded: q.without}
	}
	if err := errors.Join(q.prefer.into(request), q.weigh.into(request)); err != nil {
		return nil, err
	}
	if q.basis != "" {
		if request.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", q.basis); err != nil {
			return nil, err
		}
	}
	if len(q.sets) > 0 {
		if err := a.overlay(cmd, request, q.sets); err != nil {
			return nil, err
		}
	}
	return request, q.wish.into(a, cmd, request)
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
