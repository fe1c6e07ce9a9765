package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const lotTestHelp = `Records what was measured on a lot, by property: tack_units, viscosity_pa_s,
tint_strength_fraction and so on. From then on it goes before the certificate, in every
formula and limit. A test is never changed: withdraw it and record it anew.`

func (a *app) lotTest() *cobra.Command {
	r := &pb.RecordLotTestRequest{Test: &pb.LotTest{Values: map[string]float64{}}}
	var values []string
	c := &cobra.Command{
		Use: "test LOT", Short: "Record what was measured on a lot", Long: lotTestHelp, Args: cobra.ExactArgs(1),
		Example: `  millbase lots test l-1042 --value tack_units=10.4 --method "inkometer, 32 C, 400 rpm"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			for _, text := range values {
				key, number, found := strings.Cut(text, "=")
				v, err := strconv.ParseFloat(number, 64)
				if !found || err != nil {
					return &exit{exitUsage, fmt.Sprintf("%q: write a value as PROPERTY=NUMBER, as in tack_units=10.4", text)}
				}
				r.Test.Values[key] = v
			}
			r.Parent, r.RequestId = prefixed("lots", args[0]), newID()
			if r.TestId == "" {
				r.TestId = "test-" + newID()[24:]
			}
			t, err := pb.NewLotTestServiceClient(conn).RecordLotTest(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(t, func() { a.printLotTest(t) })
		},
	}
	f := c.Flags()
	f.StringArrayVar(&values, "value", nil, "PROPERTY=NUMBER, for each value")
	f.StringVar(&r.Test.Method, "method", "", "instrument and conditions, in words")
	f.StringVar(&r.Test.Note, "note", "", "what else to know")
	f.StringVar(&r.Test.TestDate, "date", "", "day of the test, YYYY-MM-DD (default today)")
	f.StringVar(&r.TestId, "name", "", "id of the test (default: a new one)")
	return c
}

func (a *app) bleachTest() *cobra.Command {
	r := &pb.RecordBleachTestRequest{Surface: &pb.Surface{}}
	var batch, standard string
	var summed bool
	c := &cobra.Command{
		Use: "bleach LOT", Short: "Work a lot's tint strength out from a bleach test, and record it", Args: cobra.ExactArgs(1),
		Long: `Compares the drawdowns of a lot and of its standard, both let down alike in white, by K/S
(ISO 787-24): at the wavelength where the standard absorbs most, and summed. The first counts
as the lot's tint strength from then on, or with --summed the second.

` + colourHelp,
		Example: `  millbase lots bleach l-1042 --batch bleach.txt#l-1042 --standard bleach.txt#standard`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			if r.Lot, err = a.curve(cmd.Context(), conn, batch); err != nil {
				return err
			}
			if r.Standard, err = a.curve(cmd.Context(), conn, standard); err != nil {
				return err
			}
			if summed {
				r.Figure = pb.BleachFigure_BLEACH_FIGURE_SUMMED
			}
			r.Parent, r.RequestId = prefixed("lots", args[0]), newID()
			if r.TestId == "" {
				r.TestId = "bleach-" + newID()[24:]
			}
			t, err := pb.NewLotTestServiceClient(conn).RecordBleachTest(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(t, func() { a.printLotTest(t) })
		},
	}
	f := c.Flags()
	f.StringVar(&batch, "batch", "", "the lot's drawdown in white: a measured colour")
	f.StringVar(&standard, "standard", "", "the standard's, let down alike")
	f.BoolVar(&summed, "summed", false, "the sum over the wavelengths counts, not that of most absorption")
	f.Float64Var(&r.StandardStrength, "standard-strength", 1, "tint strength of the standard itself, 1 for 100 %")
	f.Float64Var(&r.Surface.K1, "k1", 0, "Saunderson's k1 of the drawdowns")
	f.Float64Var(&r.Surface.K2, "k2", 0, "Saunderson's k2 of the drawdowns")
	f.StringVar(&r.Method, "method", "", "white, ratio and instrument, in words")
	f.StringVar(&r.Note, "note", "", "what else to know")
	f.StringVar(&r.TestDate, "date", "", "day of the test, YYYY-MM-DD (default today)")
	f.StringVar(&r.TestId, "name", "", "id of the test (default: a new one)")
	return c
}

func (a *app) withdrawTest() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use: "withdraw-test LOT TEST", Short: "Withdraw a test that was wrong", Args: cobra.ExactArgs(2),
		Example: `  millbase lots withdraw-test l-1042 bleach-1 --why "standard and batch swapped"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			t, err := pb.NewLotTestServiceClient(conn).WithdrawLotTest(cmd.Context(), &pb.WithdrawLotTestRequest{Name: prefixed("lots", args[0]) + "/tests/" + args[1], Reason: why})
			if err != nil {
				return a.failed(err)
			}
			return a.show(t, func() { fmt.Fprintf(a.out, "%s of lot %s counts no more.\n", id(t.Name), args[0]) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "the reason, kept with the test")
	return c
}

func (a *app) lotTests() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "tests [LOT]", Short: "List the tests of a lot, or of all", Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			parent := "lots/-"
			if len(args) == 1 {
				parent = prefixed("lots", args[0])
			}
			tests := pb.NewLotTestServiceClient(conn)
			answer := &pb.ListLotTestsResponse{}
			answer.Tests, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.LotTest, string, error) {
				r, err := tests.ListLotTests(ctx, &pb.ListLotTestsRequest{Parent: parent, PageSize: list.pageSize(), PageToken: token})
				return r.GetTests(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("lot", "test", "day", "values", "by", "counts")
				for _, x := range answer.Tests {
					counts := "yes"
					if x.Withdrawn {
						counts = "no: " + x.WithdrawnReason
					}
					t.add(strings.Split(x.Name, "/")[1], id(x.Name), x.TestDate, measuredValues(x), x.Tester, counts)
				}
				t.print(a.out)
			})
		},
	}
	c.Flags().IntVar(&list.most, "most", 0, "at most this many rows (0: all)")
	return c
}

// measuredValues prints the values of a test in a line.
func measuredValues(t *pb.LotTest) string {
	var out []string
	for key, v := range t.Values {
		out = append(out, key+" "+significant(v, 4))
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

func (a *app) printLotTest(t *pb.LotTest) {
	fmt.Fprintf(a.out, "Recorded %s of lot %s: %s.\n", id(t.Name), strings.Split(t.Name, "/")[1], measuredValues(t))
	if b := t.Bleach; b != nil {
		fmt.Fprintf(a.out, "Strength %.1f %% at %d nm, where the standard absorbs most; %.1f %% summed from 400 to 700 nm;\nthe drawdowns are %.2f CIEDE2000 apart (D65/10).\n",
			100*b.StrengthAtMostAbsorption, b.MostAbsorptionNm, 100*b.StrengthSummed, b.De00)
	}
	for _, w := range t.Warnings {
		fmt.Fprintln(a.out, wrap(w, 100, ""))
	}
}
