package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) specifications() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "specifications [SPECIFICATION]", Short: "List the specifications, or show one with its limits", GroupID: groupMake, Args: cobra.MaximumNArgs(1),
		Example: `  millbase specifications
  millbase specifications sheetfed-cyan`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			specs := pb.NewSpecificationServiceClient(conn)
			if len(args) == 1 {
				s, err := specs.GetSpecification(cmd.Context(), &pb.GetSpecificationRequest{Name: prefixed("specifications", args[0])})
				if err != nil {
					return a.failed(err)
				}
				return a.show(s, func() { a.printSpecification(s) })
			}
			answer := &pb.ListSpecificationsResponse{}
			answer.Specifications, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Specification, string, error) {
				r, err := specs.ListSpecifications(ctx, &pb.ListSpecificationsRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetSpecifications(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("specification", "title", ">limits")
				for _, s := range answer.Specifications {
					t.add(id(s.Name), s.Title, fmt.Sprint(len(s.Limits)))
				}
				t.print(a.out)
			})
		},
	}
	list.add(c, "material, archived")
	return c
}

func (a *app) printSpecification(s *pb.Specification) {
	fmt.Fprintf(a.out, "%s (%s)\n", s.Title, id(s.Name))
	if s.Note != "" {
		fmt.Fprintln(a.out, wrap(s.Note, 100, ""))
	}
	fmt.Fprintln(a.out)
	t := newTable("limit", "title", "asked", "on", "")
	for _, l := range s.Limits {
		hard := ""
		if l.Hard {
			hard = "never moved"
		}
		t.add(l.LimitId, l.Title, bounds(l.Lower, l.Upper), subject(l), hard)
	}
	t.print(a.out)
}

// subject says what a limit is on, with its unit.
func subject(l *pb.Limit) string {
	switch s := l.Subject.(type) {
	case *pb.Limit_PigmentLoading_:
		what := "dry pigment"
		if s.PigmentLoading.ColourIndex != "" {
			what = s.PigmentLoading.ColourIndex
		}
		if s.PigmentLoading.ByStrength {
			what += " by tint strength"
		}
		return what + ", kg/kg"
	case *pb.Limit_VocMass_:
		return "VOC, kg/kg"
	case *pb.Limit_VocContent_:
		return "VOC less water and exempt, g/L"
	case *pb.Limit_MetalOnBinder_:
		return s.MetalOnBinder.Metal + " on binder solids, %"
	case *pb.Limit_Share_:
		return "share of a set of materials, kg/kg"
	case *pb.Limit_WaxSolids_:
		return "wax solids, kg/kg"
	case *pb.Limit_WettingDemand_:
		return "oil demand over wetting vehicle, kg/kg"
	case *pb.Limit_Blended_:
		return s.Blended.Property
	}
	return ""
}
