package demo

import (
	pb "millbase/proto/millbase/v1"
)

// ink is a specification together with the material that it describes.
type ink struct {
	id, title string
	class     pb.MaterialClass
	limits    []*pb.Limit
	note      string
	// formula says that the formula book holds one for it.
	formula bool
}

const (
	baseClass = pb.MaterialClass_MATERIAL_CLASS_BASE_INK
	inkClass  = pb.MaterialClass_MATERIAL_CLASS_INK
)

// impossible is the specification that can't be met as written: so much black
// pigment makes more tack and body than it allows.
const impossible = "carton-black-soft"

func inks() []ink {
	var out []ink
	out = append(out, baseInks()...)
	out = append(out, processInks()...)
	out = append(out, spotColours()...)
	out = append(out, anyShade)
	return append(out, ink{
		id: impossible, title: "Carton black, very soft", class: inkClass,
		note: "As asked for by sales: strongest black, softest body. Not yet checked by the laboratory.",
		limits: []*pb.Limit{
			loading("pbk7", "PBk7 by strength", "PBk7", true, 0.24, none), pigmentTotal(none, 0.30),
			tack(none, 4.5), viscosity(none, 12), voc(20), wetting(0.20), metal("cobalt", 0.03, 0.08), driers(none, 0.02), gloss(40),
			noBases(), workOffShare(0), onlyPigments("PBk7"), sheetfedVarnish(),
		},
	})
}

// anyShade is what a spot colour that is matched to a shade has to meet beside it.
var anyShade = ink{id: "spot-any-shade", title: "Spot colour to a shade, sheetfed", class: inkClass,
	note: "For matches: everything but the shade.",
	limits: []*pb.Limit{
		classShare("dry-pigment", "Dry pigment as such", none, 0, pb.MaterialClass_MATERIAL_CLASS_PIGMENT),
		voc(60), metal("cobalt", 0.03, 0.07), metal("manganese", 0.02, 0.08), driers(0.005, 0.03), waxSolids(0.012, 0.03),
		tack(7.5, 11), viscosity(15, 55), gloss(38), extenders(0.16), workOffShare(0),
		materialShare("anti-skin", "Anti-skinning agent", 0.003, 0.010, "anti-skin"),
	}}

func noBases() *pb.Limit {
	return classShare("base-inks", "Base inks", none, 0, baseClass)
}

// baseInks are dispersions: high in pigment, no wax and no drier. Spot colours
// are mixed from them.
func baseInks() []ink {
	mk := func(id, title, ci string, lower, upper, wet float64) ink {
		return ink{id: id, title: title, class: baseClass, formula: true, limits: []*pb.Limit{
			loading("pigment", ci+" by strength", ci, true, lower, none), pigmentTotal(none, upper),
			loading("pigment-own", ci, ci, false, lower*0.9, none),
			wetting(wet), tack(9, 13.5), viscosity(25, 95), voc(60), gloss(28),
			driers(none, 0), waxSolids(none, 0), dryingOils(0.06, none), extenders(0.02), workOffShare(0), noBases(),
			onlyPigments(ci), sheetfedVarnish(), quickset(0.15),
			materialShare("wetting-agent", "Wetting agent", 0.01, 0.03, "wetting-agent"),
		}}
	}
	return []ink{
		mk("base-yellow", "Base ink yellow PY13", "PY13", 0.25, 0.30, 0.22),
		mk("base-yellow-fast", "Base ink yellow PY83, lightfast", "PY83", 0.23, 0.28, 0.24),
		mk("base-orange", "Base ink orange PO34", "PO34", 0.24, 0.29, 0.24),
		mk("base-red", "Base ink red PR48:2", "PR48:2", 0.25, 0.30, 0.25),
		mk("base-bluish-red", "Base ink bluish red PR57:1", "PR57:1", 0.26, 0.31, 0.28),
		mk("base-magenta", "Base ink magenta PR122", "PR122", 0.22, 0.27, 0.27),
		mk("base-violet", "Base ink violet PV23", "PV23", 0.20, 0.25, 0.26),
		mk("base-blue", "Base ink blue PB15:3", "PB15:3", 0.26, 0.31, 0.22),
		mk("base-green", "Base ink green PG7", "PG7", 0.28, 0.34, 0.22),
		mk("base-black", "Base ink black PBk7", "PBk7", 0.26, 0.31, 0.35),
		{id: "base-white", title: "Base ink opaque white PW6", class: baseClass, formula: true, limits: []*pb.Limit{
			loading("pigment", "PW6 by strength", "PW6", true, 0.52, none), pigmentTotal(none, 0.60), wetting(0.30), tack(9, 15),
			viscosity(25, 260), voc(60), driers(none, 0), waxSolids(none, 0), dryingOils(0.06, none), extenders(0), workOffShare(0), noBases(),
			onlyPigments("PW6"), sheetfedVarnish(),
		}},
		{id: "base-transparent", title: "Transparent base", class: baseClass, formula: true, limits: []*pb.Limit{
			pigmentTotal(none, 0), materialShare("chalk", "Extender", 0.10, 0.20, "chalk", "kaolin"), tack(7, 11), viscosity(15, 60), voc(60),
			driers(none, 0), waxSolids(none, 0), dryingOils(0.10, none), gloss(38), workOffShare(0), noBases(), sheetfedVarnish(),
		}},
	}
}

// processInks are the four process colours for three printing methods.
func processInks() []ink {
	type colour struct {
		id, title, ci             string
		sheet, heat, news, weight float64 // loading by strength; oil demand factor
		workOff                   string  // the leftover that may go in
	}
	colours := []colour{
		{"yellow", "yellow", "PY13", 0.125, 0.115, 0.080, 0.95, "work-off-yellow"},
		{"magenta", "magenta", "PR57:1", 0.165, 0.150, 0.095, 1.15, ""},
		{"cyan", "cyan", "PB15:3", 0.165, 0.150, 0.095, 0.95, "work-off-blue"},
		{"black", "black", "PBk7", 0.190, 0.175, 0.150, 1.40, "work-off-black"},
	}
	var out []ink
	for _, c := range colours {
		out = append(out,
			ink{id: "sheetfed-" + c.id, title: "Sheetfed " + c.title, class: inkClass, formula: true, limits: []*pb.Limit{
				loading("pigment", c.ci+" by strength", c.ci, true, c.sheet, none), pigmentTotal(none, c.sheet+0.045),
				voc(55), metal("cobalt", 0.03, 0.07), metal("manganese", 0.02, 0.08), driers(0.005, 0.03), waxSolids(0.012, 0.03),
				tack(8.5, 10.5), viscosity(18, 45), density(1.20), wetting(0.20 * c.weight), gloss(42), dryingOils(0.08, 0.25),
				extenders(0.03), workOffShare(0.06), noBases(), onlyPigments(c.ci), ownWorkOff(c.workOff), sheetfedVarnish(), quickset(0.25),
				materialShare("anti-skin", "Anti-skinning agent", 0.003, 0.010, "anti-skin"),
			}},
			ink{id: "heatset-" + c.id, title: "Heatset " + c.title, class: inkClass, formula: true, limits: []*pb.Limit{
				loading("pigment", c.ci+" by strength", c.ci, true, c.heat, none), pigmentTotal(none, c.heat+0.045),
				voc(300), driers(none, 0), distillates(0.24, 0.36), waxSolids(0.008, 0.02), tack(5, 8), viscosity(6, 22), density(1.15),
				wetting(0.22 * c.weight), extenders(0.06), workOffShare(0.05), noBases(), onlyPigments(c.ci), ownWorkOff(c.workOff),
				materialShare("heatset-varnish", "Heatset varnishes", 0.30, none, "heatset-hard", "heatset-gel"),
			}},
			ink{id: "coldset-" + c.id, title: "Coldset " + c.title, class: inkClass, formula: true, limits: []*pb.Limit{
				loading("pigment", c.ci+" by strength", c.ci, true, c.news, none), pigmentTotal(none, c.news+0.06),
				voc(100), driers(none, 0), tack(3, 5.5), viscosity(3, 12), density(1.15), wetting(0.22 * c.weight),
				extenders(0.08), workOffShare(0.08), noBases(), dryingOils(0.15, none), onlyPigments(c.ci), ownWorkOff(c.workOff),
			}})
	}
	return out
}

// spotColours are mixed from base inks to a shade: a narrow window of loading for
// each pigment stands in for it.
func spotColours() []ink {
	type part struct {
		ci           string
		lower, upper float64
	}
	mk := func(id, title string, parts ...part) ink {
		s := ink{id: id, title: title, class: inkClass, formula: true}
		total := 0.0
		for i, p := range parts {
			s.limits = append(s.limits, loading("pigment-"+string(rune('a'+i)), p.ci+" by strength", p.ci, true, p.lower, p.upper))
			total += p.upper
		}
		s.limits = append(s.limits, pigmentTotal(none, total*1.04),
			classShare("dry-pigment", "Dry pigment as such", none, 0, pb.MaterialClass_MATERIAL_CLASS_PIGMENT),
			voc(60), metal("cobalt", 0.03, 0.07), metal("manganese", 0.02, 0.08), driers(0.005, 0.03), waxSolids(0.012, 0.03),
			tack(7.5, 11), viscosity(15, 55), gloss(38), extenders(0.10), workOffShare(0), sheetfedVarnish(), quickset(0.08),
			materialShare("anti-skin", "Anti-skinning agent", 0.003, 0.010, "anti-skin"))
		return s
	}
	return []ink{
		mk("spot-harbour-blue", "Harbour blue", part{"PB15:3", 0.085, 0.095}, part{"PV23", 0.020, 0.026}, part{"PBk7", 0.004, 0.008}),
		mk("spot-gorse", "Gorse yellow", part{"PY13", 0.095, 0.105}, part{"PY83", 0.020, 0.028}),
		mk("spot-brick", "Brick red", part{"PR48:2", 0.080, 0.090}, part{"PO34", 0.040, 0.050}, part{"PBk7", 0.006, 0.010}),
		mk("spot-moss", "Moss green", part{"PG7", 0.050, 0.058}, part{"PY83", 0.060, 0.070}, part{"PBk7", 0.008, 0.012}),
		mk("spot-plum", "Plum", part{"PV23", 0.050, 0.058}, part{"PR57:1", 0.070, 0.080}),
		mk("spot-marigold", "Marigold", part{"PO34", 0.075, 0.085}, part{"PY13", 0.060, 0.070}),
		mk("spot-slate", "Slate", part{"PBk7", 0.070, 0.080}, part{"PB15:3", 0.020, 0.026}, part{"PW6", 0.040, 0.060}),
		mk("spot-cherry", "Cherry", part{"PR57:1", 0.110, 0.120}, part{"PO34", 0.020, 0.026}),
		mk("spot-lagoon", "Lagoon", part{"PB15:3", 0.060, 0.068}, part{"PG7", 0.060, 0.068}),
		mk("spot-heather", "Heather", part{"PR122", 0.060, 0.068}, part{"PV23", 0.015, 0.020}, part{"PW6", 0.050, 0.070}),
		mk("spot-fuchsia", "Fuchsia", part{"PR122", 0.110, 0.120}),
		mk("spot-leaf", "Leaf green", part{"PG7", 0.080, 0.088}, part{"PY13", 0.050, 0.058}),
		mk("spot-cobble", "Cobble grey", part{"PBk7", 0.030, 0.036}, part{"PW6", 0.150, 0.180}),
		mk("spot-night", "Night blue", part{"PB15:3", 0.100, 0.110}, part{"PBk7", 0.050, 0.056}),
		mk("spot-amber", "Amber", part{"PY83", 0.090, 0.100}, part{"PO34", 0.012, 0.018}),
	}
}
