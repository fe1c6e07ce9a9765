package main

import (
	"context"
	"fmt"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) materials() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "materials [MATERIAL]", Short: "List the materials, or show one", GroupID: groupStore, Args: cobra.MaximumNArgs(1),
		Long: "Lists the materials of the book, or shows one with its nominal properties.",
		Example: `  millbase materials --filter 'material_class = "PIGMENT"'
  millbase materials linseed`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			materials := pb.NewMaterialServiceClient(conn)
			if len(args) == 1 {
				m, err := materials.GetMaterial(cmd.Context(), &pb.GetMaterialRequest{Name: prefixed("materials", args[0])})
				if err != nil {
					return a.failed(err)
				}
				return a.show(m, func() { a.printMaterial(m) })
			}
			answer := &pb.ListMaterialsResponse{}
			answer.Materials, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Material, string, error) {
				r, err := materials.ListMaterials(ctx, &pb.ListMaterialsRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetMaterials(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("material", "title", "class", "Colour Index", ">safety stock kg")
				for _, m := range answer.Materials {
					t.add(id(m.Name), m.Title, word(m.MaterialClass, "MATERIAL_CLASS_"), m.ColourIndex, kg(m.SafetyStockKg))
				}
				t.print(a.out)
			})
		},
	}
	list.add(c, "material_class, colour_index, archived")
	c.AddCommand(a.materialOrdering())
	return c
}

func (a *app) printMaterial(m *pb.Material) {
	fmt.Fprintf(a.out, "%s (%s), %s\n", m.Title, id(m.Name), word(m.MaterialClass, "MATERIAL_CLASS_"))
	if m.ColourIndex != "" {
		fmt.Fprintf(a.out, "Colour Index %s\n", m.ColourIndex)
	}
	fmt.Fprintf(a.out, "standard cost %s per kg; shelf life %d days; safety stock %s kg\n\n", cash(m.StandardCostPerKg, 4), m.ShelfLifeDays, kg(m.SafetyStockKg))
	if o := m.Ordering; o != nil {
		fmt.Fprintf(a.out, "ordered %s; lead time %d days, safety time %d days, time fence %d days\n\n",
			lotRule(o), o.LeadTimeDays, o.SafetyTimeDays, o.FenceDays)
	}
	a.printProperties(m.Properties)
	for _, s := range m.Cautions {
		fmt.Fprintln(a.out, wrap("Caution: "+s, 100, "  "))
	}
}

func (a *app) printProperties(values map[string]float64) {
	if len(values) == 0 {
		return
	}
	keys := make([]string, 0, len(values))
	for k := range values {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	t := newTable("property", ">value")
	for _, k := range keys {
		t.add(strings.ReplaceAll(k, "_", " "), significant(values[k], 5))
	}
	t.print(a.out)
}
