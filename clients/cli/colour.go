package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) colours() *cobra.Command {
	c := &cobra.Command{Use: "colour", Short: "The colour book: papers, drawdowns of base inks, measured colours", GroupID: groupMake}
	c.AddCommand(a.colourRead(), a.colourCompare(), a.substrates(), a.substrate(), a.characterised(), a.characterise())
	return c
}

func (a *app) colourRead() *cobra.Command {
	return &cobra.Command{
		Use: "read FILE", Short: "List what a measurement file holds", Long: colourHelp, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			samples, err := a.readSamples(cmd.Context(), conn, args[0])
			if err != nil {
				return err
			}
			return a.show(&pb.ReadMeasurementsResponse{Samples: samples}, func() {
				t := newTable("sample", ">line", "curve", "L* a* b* in the file")
				for _, s := range samples {
					curve := "-"
					if c := s.Curve; c != nil {
						curve = fmt.Sprintf("%d to %d nm by %d", c.FirstNm, c.FirstNm+c.StepNm*int32(len(c.Values)-1), c.StepNm)
					}
					t.add(s.Title, fmt.Sprint(s.Line), curve, lab(s.Lab))
				}
				t.print(a.out)
			})
		},
	}
}

func (a *app) colourCompare() *cobra.Command {
	r := &pb.CompareColoursRequest{}
	var standard, ink, under, second, black string
	c := &cobra.Command{
		Use: "compare COLOUR", Short: "Compare a colour with a standard or a process ink's aim", Long: colourHelp, Args: cobra.ExactArgs(1),
		Example: `  millbase colour compare print.txt#batch --standard print.txt#standard --within 1.5
  millbase colour compare 55.2,-37.1,-49.0 --process-ink cyan`,
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			conn, err := a.client()
			if err != nil {
				return err
			}
			if r.Sample, err = a.colour(cmd.Context(), conn, args[0]); err != nil {
				return err
			}
			if standard != "" {
				if r.Standard, err = a.colour(cmd.Context(), conn, standard); err != nil {
					return err
				}
			}
			if ink != "" {
				if r.ProcessInk, err = enum[pb.ProcessInk](pb.ProcessInk_value, "PROCESS_INK_", ink); err != nil {
					return err
				}
			}
			if r.Viewing, err = parseViewing(under); err != nil {
				return err
			}
			if r.SecondViewing, err = parseViewing(second); err != nil {
				return err
			}
			if black != "" {
				if r.OverBlack, err = a.curve(cmd.Context(), conn, black); err != nil {
					return err
				}
			}
			answer, err := pb.NewColourServiceClient(conn).CompareColours(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printCompared(answer) })
		},
	}
	f := c.Flags()
	f.StringVar(&standard, "standard", "", "the standard: a colour")
	f.StringVar(&ink, "process-ink", "", "or the aim of a process ink (ISO 2846-1): yellow, magenta, cyan, black")
	f.StringVar(&under, "under", "", "light and observer (default D50/2)")
	f.StringVar(&second, "second", "", "second light and observer (default A with the same observer)")
	f.StringVar(&black, "over-black", "", "the print over black, for its opacity: a measured colour")
	f.Float64Var(&r.ToleranceDe00, "within", 0, "allowed CIEDE2000")
	return c
}

func (a *app) printCompared(r *pb.CompareColoursResponse) {
	fmt.Fprintln(a.out, r.Summary)
	fmt.Fprintln(a.out)
	t := newTable("light", "sample L* a* b*", "standard L* a* b*", ">dE00", ">dE*ab", ">lightness", ">chroma", ">hue")
	for _, d := range r.Differences {
		t.add(viewing(d.Viewing), lab(d.Sample), lab(d.Standard), fixed(d.De00, 2), fixed(d.De76, 2), apart(d.Lightness), apart(d.Chroma), apart(d.Hue))
	}
	t.print(a.out)
	if r.Metamerism != nil {
		fmt.Fprintf(a.out, "\nMetamerism: %.2f (change of light, CIEDE2000)\n", *r.Metamerism)
	}
	if r.OpacityPercent != nil {
		fmt.Fprintf(a.out, "Opacity: %.1f %% (Y over black in parts of Y over white)\n", *r.OpacityPercent)
	}
}

// apart prints a part of a difference.
func apart(v float64) string { return fmt.Sprintf("%+.2f", v) }

func (a *app) substrates() *cobra.Command {
	return &cobra.Command{
		Use: "substrates", Short: "List the papers of the colour book", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			book := pb.NewColourServiceClient(conn)
			answer := &pb.ListSubstratesResponse{}
			answer.Substrates, err = all(cmd.Context(), 0, func(ctx context.Context, token string) ([]*pb.Substrate, string, error) {
				r, err := book.ListSubstrates(ctx, &pb.ListSubstratesRequest{PageSize: 1000, PageToken: token})
				return r.GetSubstrates(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("substrate", "title", ">film g/m2", "curve", "measured")
				for _, s := range answer.Substrates {
					c := s.Curve
					t.add(id(s.Name), s.Title, number(s.FilmGPerM2, 2), fmt.Sprintf("%d to %d nm by %d", c.FirstNm, c.FirstNm+c.StepNm*int32(len(c.Values)-1), c.StepNm), s.Measured)
				}
				t.print(a.out)
			})
		},
	}
}

func (a *app) substrate() *cobra.Command {
	s := &pb.Substrate{Surface: &pb.Surface{}}
	var bare string
	c := &cobra.Command{
		Use: "substrate SUBSTRATE", Short: "Add a paper, as measured", Long: colourHelp, Args: cobra.ExactArgs(1),
		Example: `  millbase colour substrate newsprint-45 --title "Newsprint 45 g/m2" --bare papers.txt#newsprint --film 1.4`,
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			conn, err := a.client()
			if err != nil {
				return err
			}
			if s.Curve, err = a.curve(cmd.Context(), conn, bare); err != nil {
				return err
			}
			made, err := pb.NewColourServiceClient(conn).CreateSubstrate(cmd.Context(), &pb.CreateSubstrateRequest{SubstrateId: args[0], Substrate: s, RequestId: newID()})
			if err != nil {
				return a.failed(err)
			}
			return a.show(made, func() { fmt.Fprintf(a.out, "Added substrate %s.\n", id(made.Name)) })
		},
	}
	f := c.Flags()
	f.StringVar(&s.Title, "title", "", "what it is called")
	f.StringVar(&bare, "bare", "", "the bare paper: a measured colour")
	f.Float64Var(&s.FilmGPerM2, "film", 1.2, "ink on it in a usual print, g/m2")
	f.Float64Var(&s.Surface.K1, "k1", 0, "Saunderson's k1: light reflected at the surface from outside")
	f.Float64Var(&s.Surface.K2, "k2", 0, "Saunderson's k2: light reflected at the surface from inside")
	f.BoolVar(&s.Surface.SpecularIncluded, "specular-included", false, "the instrument measures the gloss as well")
	f.StringVar(&s.Measured, "measured", "", "how, in words: geometry, filter, backing")
	return c
}

func (a *app) characterised() *cobra.Command {
	var list listFlags
	var older bool
	c := &cobra.Command{
		Use: "inks", Short: "List the base inks that are characterised, and how well", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			filter := list.filter
			if !older {
				filter = strings.TrimPrefix(filter+" AND superseded = false", " AND ")
			}
			book := pb.NewColourServiceClient(conn)
			answer := &pb.ListCharacterisationsResponse{}
			answer.Characterisations, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Characterisation, string, error) {
				r, err := book.ListCharacterisations(ctx, &pb.ListCharacterisationsRequest{PageSize: list.pageSize(), PageToken: token, Filter: filter})
				return r.GetCharacterisations(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printInks(answer.Characterisations) })
		},
	}
	list.add(c, "material, substrate")
	c.Flags().BoolVar(&older, "older", false, "those that later ones took the place of as well")
	return c
}

func (a *app) printInks(inks []*pb.Characterisation) {
	t := newTable("ink", "substrate", "mode", ">drawdowns", ">worst dE00", ">residual", ">absorbs at nm", "doubts")
	for _, c := range inks {
		worst := 0.0
		for _, d := range c.Drawdowns {
			worst = max(worst, d.De00)
		}
		doubts := ""
		if len(c.Warnings) > 0 {
			doubts = strconv.Itoa(len(c.Warnings))
		}
		t.add(id(c.Material), id(c.Substrate), word(c.Mode, "PRINT_MODE_"), fmt.Sprint(len(c.Drawdowns)), fixed(worst, 2), fixed(c.Residual, 4), fmt.Sprint(c.MostAbsorptionNm), doubts)
	}
	t.print(a.out)
}

func (a *app) characterise() *cobra.Command {
	c := &pb.Characterisation{}
	var material, on, white, name string
	var drawdowns []string
	var opaque bool
	cmd := &cobra.Command{
		Use: "characterise INK", Short: "Fit what a base ink does on a paper to drawdowns of it", Args: cobra.ExactArgs(1),
		Long: `Fits the absorption of a base ink at each wavelength (and its scattering, with --opaque) to
measured drawdowns, and keeps both. Give each drawdown as CONCENTRATION=COLOUR: the share of
the base ink in the print, kg per kg, and a measured colour.

` + colourHelp,
		Example: `  millbase colour characterise base-blue --on uncoated-white \
    --drawdown 0.05=blue.txt#5 --drawdown 0.2=blue.txt#20 --drawdown 1=blue.txt#full`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			material = args[0]
			c.Material, c.Substrate, c.White = prefixed("materials", material), prefixed("substrates", on), prefixed("characterisations", white)
			if opaque {
				c.Mode = pb.PrintMode_PRINT_MODE_OPAQUE
			}
			for _, text := range drawdowns {
				share, measured, found := strings.Cut(text, "=")
				v, err := strconv.ParseFloat(share, 64)
				if !found || err != nil {
					return &exit{exitUsage, fmt.Sprintf("%q: write a drawdown as CONCENTRATION=COLOUR, as in 0.2=blue.txt#20", text)}
				}
				curve, err := a.curve(cmd.Context(), conn, measured)
				if err != nil {
					return err
				}
				c.Drawdowns = append(c.Drawdowns, &pb.Drawdown{Concentration: v, Curve: curve})
			}
			if name == "" {
				name = material + "-" + on + "-" + newID()[:8]
			}
			made, err := pb.NewColourServiceClient(conn).CreateCharacterisation(cmd.Context(), &pb.CreateCharacterisationRequest{CharacterisationId: name, Characterisation: c, RequestId: newID()})
			if err != nil {
				return a.failed(err)
			}
			return a.show(made, func() {
				a.printInks([]*pb.Characterisation{made})
				for _, w := range made.Warnings {
					fmt.Fprintln(a.out, w)
				}
			})
		},
	}
	f := cmd.Flags()
	f.StringVar(&on, "on", "", "the substrate")
	f.StringArrayVar(&drawdowns, "drawdown", nil, "CONCENTRATION=COLOUR, for each drawdown")
	f.BoolVar(&opaque, "opaque", false, "drawdowns hide what is below: two constants, let down in white")
	f.StringVar(&white, "white", "", "with --opaque, the characterisation of the white; none: this is the white")
	f.StringVar(&name, "name", "", "id of the characterisation (default: made of ink and substrate)")
	f.StringVar(&c.Note, "note", "", "in words: press or tool, lot")
	return cmd
}
