package main

import (
	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const optimiseHelp = `Finds the cheapest formula that meets every limit of a specification, from the
released lots on hand and the offers that can arrive in time, and explains it:
what each limit costs, and at what price each unused lot would come in.

When nothing meets the limits it says which of them clash, and by how little they
must move (exit code 3).

--set changes a limit for this question only: --set voc<=60, --set tack=9..11.
--file asks a question of your own, candidates included, as JSON of the API's
OptimiseRequest ("-" reads standard input).

` + weighingHelp

func (a *app) optimise() *cobra.Command {
	var q question
	var all bool
	c := &cobra.Command{
		Use: "optimise [SPECIFICATION]", Short: "Find the cheapest formula and explain it", Long: optimiseHelp, GroupID: groupMake,
		Example: `  millbase optimise sheetfed-cyan --kg 250
  millbase optimise sheetfed-cyan --kg 250 --basis replacement --set 'voc<=40'
  millbase optimise sheetfed-cyan --kg 250 --use-up 30d,work-off --premium 0.50
  millbase optimise sheetfed-cyan --kg 250 --weighable --at-most 8 --least 50g
  millbase optimise sheetfed-cyan --kg 250 --division 100g --whole 25kg:linseed --not-both lots/l-1091,lots/l-1092
  millbase optimise sheetfed-cyan --kg 250 --sure voc=99% --aim 'tack_units=11,weight=0.02'
  millbase optimise --file alloy.json --json`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			request, err := q.request(a, cmd, args)
			if err != nil {
				return err
			}
			answer, err := pb.NewOptimiserServiceClient(conn).Optimise(cmd.Context(), request)
			if err != nil {
				return a.failed(err)
			}
			if err := a.show(answer, func() { printAnswer(a.out, answer, all) }); err != nil {
				return err
			}
			if !hasFormula(answer) {
				return &exit{code: exitNoFormula}
			}
			return nil
		},
	}
	q.flags(c.Flags())
	c.Flags().BoolVar(&all, "all", false, "also list the unused candidates and those left out")
	return c
}
