package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) formulas() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "formulas [FORMULA]", Short: "List the formula book, or show one formula", GroupID: groupMake, Args: cobra.MaximumNArgs(1),
		Example: `  millbase formulas
  millbase formulas sheetfed-cyan
  millbase formulas sheetfed-cyan@1`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			formulas := pb.NewFormulaServiceClient(conn)
			if len(args) == 1 {
				m, err := formulas.GetFormula(cmd.Context(), &pb.GetFormulaRequest{Name: prefixed("formulas", args[0])})
				if err != nil {
					return a.failed(err)
				}
				return a.show(m, func() { a.printFormula(m) })
			}
			answer := &pb.ListFormulasResponse{}
			answer.Formulas, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Formula, string, error) {
				r, err := formulas.ListFormulas(ctx, &pb.ListFormulasRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetFormulas(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("formula", "title", ">revision", "released", "answers")
				for _, m := range answer.Formulas {
					t.add(strings.Split(id(m.Name), "@")[0], m.Title, fmt.Sprint(m.Revision), yes(m.Released), id(m.Specification))
				}
				t.print(a.out)
			})
		},
	}
	list.add(c, "material, specification, released")
	return c
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func (a *app) printFormula(m *pb.Formula) {
	fmt.Fprintf(a.out, "%s, revision %d (released: %s)\n", m.Title, m.Revision, yes(m.Released))
	if m.YieldFraction > 0 {
		fmt.Fprintf(a.out, "yield %s %%\n", number(100*m.YieldFraction, 2))
	}
	fmt.Fprintln(a.out)
	t := newTable("ingredient", "lot", ">share %")
	for _, i := range m.Ingredients {
		t.add(id(i.Material), id(i.Lot), fixed(100*i.Share, 4))
	}
	t.print(a.out)
	if len(m.Route) > 0 {
		fmt.Fprintln(a.out, "\nRoute: "+route(m.Route))
	}
}

func route(steps []*pb.RouteStep) string {
	var out []string
	for _, s := range steps {
		text := word(s.Step, "PROCESS_STEP_")
		if s.Passes > 1 {
			text += fmt.Sprintf(" (%d passes)", s.Passes)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}
