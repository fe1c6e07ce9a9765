package demo

import (
	pb "millbase/proto/millbase/v1"
)

// limit builds one limit; a negative bound is absent (no limit of the demo plant
// is negative).
func limit(id, title string, lower, upper float64) *pb.Limit {
	l := &pb.Limit{LimitId: id, Title: title}
	if lower >= 0 {
		l.Lower = &lower
	}
	if upper >= 0 {
		l.Upper = &upper
	}
	return l
}

const none = -1.0

func loading(id, title, ci string, byStrength bool, lower, upper float64) *pb.Limit {
	l := limit(id, title, lower, upper)
	l.Subject = &pb.Limit_PigmentLoading_{PigmentLoading: &pb.Limit_PigmentLoading{ColourIndex: ci, ByStrength: byStrength}}
	return l
}

func pigmentTotal(lower, upper float64) *pb.Limit {
	return loading("pigment-total", "Dry pigment in total", "", false, lower, upper)
}

func voc(upper float64) *pb.Limit {
	l := limit("voc", "VOC less water and exempt", none, upper)
	l.Subject = &pb.Limit_VocContent_{VocContent: &pb.Limit_VocContent{}}
	l.Hard = upper >= 250
	return l
}

func metal(name string, lower, upper float64) *pb.Limit {
	l := limit(name, name+" on binder", lower, upper)
	l.Subject = &pb.Limit_MetalOnBinder_{MetalOnBinder: &pb.Limit_MetalOnBinder{Metal: name}}
	return l
}

func classShare(id, title string, lower, upper float64, classes ...pb.MaterialClass) *pb.Limit {
	l := limit(id, title, lower, upper)
	l.Subject = &pb.Limit_Share_{Share: &pb.Limit_Share{Classes: classes}}
	return l
}

func materialShare(id, title string, lower, upper float64, ids ...string) *pb.Limit {
	l := limit(id, title, lower, upper)
	share := &pb.Limit_Share{}
	for _, m := range ids {
		share.Materials = append(share.Materials, "materials/"+m)
	}
	l.Subject = &pb.Limit_Share_{Share: share}
	return l
}

func driers(lower, upper float64) *pb.Limit {
	return classShare("driers", "Driers in total", lower, upper, pb.MaterialClass_MATERIAL_CLASS_DRIER)
}

func workOffShare(upper float64) *pb.Limit {
	return classShare("work-off", "Work-off", none, upper, pb.MaterialClass_MATERIAL_CLASS_WORK_OFF)
}

func distillates(lower, upper float64) *pb.Limit {
	return materialShare("distillate", "Distillates", lower, upper, "distillate-240", "distillate-260", "distillate-280")
}

func dryingOils(lower, upper float64) *pb.Limit {
	return materialShare("vegetable-oil", "Vegetable oils", lower, upper, "linseed", "soya", "tung")
}

func extenders(upper float64) *pb.Limit {
	return materialShare("extenders", "Extenders", none, upper, "chalk", "kaolin", "bentone")
}

func waxSolids(lower, upper float64) *pb.Limit {
	l := limit("wax", "Wax solids", lower, upper)
	l.Subject = &pb.Limit_WaxSolids_{WaxSolids: &pb.Limit_WaxSolids{}}
	return l
}

func wetting(upper float64) *pb.Limit {
	l := limit("wetting", "Oil demand of the pigment over wetting vehicle", none, upper)
	l.Subject = &pb.Limit_WettingDemand_{WettingDemand: &pb.Limit_WettingDemand{}}
	return l
}

func blended(id, title, property string, lower, upper float64) *pb.Limit {
	l := limit(id, title, lower, upper)
	l.Subject = &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: property}}
	return l
}

func tack(lower, upper float64) *pb.Limit {
	return blended("tack", "Tack, 200 m/min, 30 C", "tack_units", lower, upper)
}

func viscosity(lower, upper float64) *pb.Limit {
	return blended("viscosity", "Viscosity, 25 C", "viscosity_pa_s", lower, upper)
}

func density(upper float64) *pb.Limit {
	return blended("density", "Density", "density_kg_per_l", none, upper)
}

func gloss(lower float64) *pb.Limit {
	return blended("gloss", "Gloss index", "gloss_units", lower, none)
}

// onlyPigments keeps every dry pigment out that is not of the Colour Index name:
// without it the optimiser would stretch a yellow with cheap carbon black.
func onlyPigments(ci string) *pb.Limit {
	var others []string
	for _, m := range rawMaterials() {
		if m.class == pb.MaterialClass_MATERIAL_CLASS_PIGMENT && m.ci != ci {
			others = append(others, m.id)
		}
	}
	return materialShare("other-pigments", "Pigments other than "+ci, none, 0, others...)
}

// ownWorkOff keeps leftover ink of another colour out.
func ownWorkOff(own string) *pb.Limit {
	var others []string
	for _, m := range workOff() {
		if m.id != own {
			others = append(others, m.id)
		}
	}
	return materialShare("other-work-off", "Work-off of another colour", none, 0, others...)
}

// sheetfedVarnish keeps heatset and news varnishes out.
func sheetfedVarnish() *pb.Limit {
	return materialShare("foreign-varnish", "Heatset and news varnishes", none, 0, "heatset-hard", "heatset-gel", "hydrocarbon-news")
}

func quickset(lower float64) *pb.Limit {
	return materialShare("quickset", "Quickset and gloss varnishes", lower, none, "qs-firm", "qs-soft", "gloss-phenolic")
}
