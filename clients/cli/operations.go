package main

import (
	"context"
	"fmt"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/spf13/cobra"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "millbase/proto/millbase/v1"
)

func (a *app) operations() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "operations", Short: "Long work that goes on after the call: list, show, wait for, cancel", GroupID: groupPlant, Args: cobra.NoArgs,
		Long: `Long work (a joint plan, the repriced book) goes on at whichever server is free,
survives the loss of that server, and keeps its answer for 30 days. You see what
was started with your role.`,
		Example: `  millbase plan make --background
  millbase operations --filter 'state = "RUNNING"'
  millbase operations wait 0190f2c4-7f4e-7c1a-9d3e-5b6a7c8d9e0f`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			answer := &pb.ListOperationsResponse{}
			answer.Operations, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*longrunningpb.Operation, string, error) {
				r, err := pb.NewOperationServiceClient(conn).ListOperations(ctx, &pb.ListOperationsRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetOperations(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printOperations(answer.Operations) })
		},
	}
	list.add(c, "kind, state")
	c.AddCommand(a.operationVerb("show", "Show how far it is, or what came of it", func(ctx context.Context, s pb.OperationServiceClient, name string) (*longrunningpb.Operation, error) {
		return s.GetOperation(ctx, &pb.GetOperationRequest{Name: name})
	}), a.operationVerb("wait", "Wait until it has ended, and show what came of it", a.awaited),
		a.operationVerb("cancel", "Stop it", func(ctx context.Context, s pb.OperationServiceClient, name string) (*longrunningpb.Operation, error) {
			return s.CancelOperation(ctx, &pb.CancelOperationRequest{Name: name})
		}), a.operationDelete())
	return c
}

func (a *app) operationVerb(verb, short string, call func(context.Context, pb.OperationServiceClient, string) (*longrunningpb.Operation, error)) *cobra.Command {
	return &cobra.Command{
		Use: verb + " OPERATION", Short: short, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			o, err := call(cmd.Context(), pb.NewOperationServiceClient(conn), prefixed("operations", args[0]))
			if err != nil {
				return a.failed(err)
			}
			return a.showOperation(o, verb != "cancel")
		},
	}
}

func (a *app) operationDelete() *cobra.Command {
	return &cobra.Command{
		Use: "delete OPERATION", Short: "Forget one that has ended", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			if _, err := pb.NewOperationServiceClient(conn).DeleteOperation(cmd.Context(), &pb.DeleteOperationRequest{Name: prefixed("operations", args[0])}); err != nil {
				return a.failed(err)
			}
			fmt.Fprintf(a.out, "%s is forgotten.\n", id(args[0]))
			return nil
		},
	}
}

// awaited waits for the end, telling what is being done meanwhile.
func (a *app) awaited(ctx context.Context, s pb.OperationServiceClient, name string) (*longrunningpb.Operation, error) {
	told := ""
	for {
		o, err := s.WaitOperation(ctx, &pb.WaitOperationRequest{Name: name, Timeout: durationpb.New(2 * time.Second)})
		if err != nil || o.GetDone() {
			return o, err
		}
		if m := operationMeta(o); !a.json && m.GetProgress() != "" && m.GetProgress() != told {
			told = m.GetProgress()
			fmt.Fprintf(a.out, "%s %%  %s\n", fixed(100*m.GetProgressFraction(), 0), told)
		}
	}
}

// started tells where the answer of long work will be.
func (a *app) started(o *longrunningpb.Operation, err error) error {
	if err != nil {
		return a.failed(err)
	}
	return a.show(o, func() {
		fmt.Fprintf(a.out, "Started: %s\nmillbase operations wait %s\n", id(o.GetName()), id(o.GetName()))
	})
}

func operationMeta(o *longrunningpb.Operation) *pb.OperationMetadata {
	m := &pb.OperationMetadata{}
	if err := o.GetMetadata().UnmarshalTo(m); err != nil {
		return &pb.OperationMetadata{} // of a newer server
	}
	return m
}

func (a *app) printOperations(list []*longrunningpb.Operation) {
	t := newTable("operation", "kind", "state", ">done", "started", "by")
	for _, o := range list {
		m := operationMeta(o)
		t.add(id(o.GetName()), m.GetKind(), operationState(m), fixed(100*m.GetProgressFraction(), 0)+" %",
			m.GetCreateTime().AsTime().Local().Format("2006-01-02 15:04"), id(m.GetStartedBy()))
	}
	t.print(a.out)
}

func operationState(m *pb.OperationMetadata) string {
	if m.GetCancelRequested() {
		return "to be cancelled"
	}
	return word(m.GetState(), "OPERATION_STATE_")
}

// showOperation prints what came of an operation, as the call that does the same
// would, or how far it is. One that failed leaves as that call would, if failing is
// news.
func (a *app) showOperation(o *longrunningpb.Operation, news bool) error {
	if o.GetError() != nil && news && !a.json {
		return a.failed(status.ErrorProto(o.GetError()))
	}
	return a.show(o, func() {
		m := operationMeta(o)
		answer, err := o.GetResponse().UnmarshalNew()
		switch answer := answer.(type) {
		case *pb.RepriceBookResponse:
			a.printRepriced(answer, priced(answer), false)
		case *pb.Plan:
			a.printPlan(answer, false)
		default:
			fmt.Fprintf(a.out, "%s, %s", id(o.GetName()), operationState(m))
			if !o.GetDone() && m.GetProgress() != "" {
				fmt.Fprintf(a.out, ", %s %%: %s", fixed(100*m.GetProgressFraction(), 0), m.GetProgress())
			}
			fmt.Fprintln(a.out)
			if o.GetResponse() != nil && err != nil {
				fmt.Fprintln(a.out, "This program is older than the server and can't print the answer; --json shows it.")
			}
		}
	})
}

// priced reports whether other prices were tried out.
func priced(r *pb.RepriceBookResponse) bool {
	for _, f := range r.GetFormulas() {
		if f.GetCostBeforePerKg() != nil && !proto.Equal(f.GetCostBeforePerKg(), f.GetCostPerKg()) {
			return true
		}
	}
	return false
}
