package demo

import (
	pb "millbase/proto/millbase/v1"
)

// material is a row of the demo plant's material list. Prices are euros per kg.
type material struct {
	id, title string
	class     pb.MaterialClass
	ci        string
	props     map[string]float64
	price     float64
	shelfDays int32
	safetyKg  float64
	cautions  []string
	suppliers []string
	lots      int
	lotKg     float64 // usual size of a lot
	packKg    float64
}

type props = map[string]float64

var (
	dusty     = "Dust: keep it down, extract at the pot, wear the protection named in the safety data sheet."
	solvent   = "Vapour: ventilate, keep away from ignition; see the safety data sheet."
	oilyRags  = "Drying oil: soaked rags can heat up and ignite; keep them in a closed metal bin."
	cobaltSds = "Cobalt compound: avoid skin contact and breathing; see the safety data sheet and local rules."
	metalSds  = "Metal soap in solvent: avoid skin contact; see the safety data sheet."
)

// pigment gives a dry pigment. Tack and viscosity of a powder are effective
// values: what it adds to the paste by the blending rule, fitted by the plant.
func pigment(id, title, ci string, price, density, oilAbsorption float64, suppliers ...string) material {
	return material{
		id: id, title: title, class: pb.MaterialClass_MATERIAL_CLASS_PIGMENT, ci: ci, price: price,
		props: props{
			"pigment_fraction/" + ci: 0.985, "density_kg_per_l": density, "oil_absorption_g_per_100g": oilAbsorption,
			"tack_units": 15, "viscosity_pa_s": 2500, "gloss_units": 8, "volatile_fraction": 0.005,
		},
		shelfDays: 1095, safetyKg: 100, cautions: []string{dusty}, suppliers: suppliers, lots: 5, lotKg: 420, packKg: 20,
	}
}

// vehicle gives a varnish: binder solids, tack, viscosity (Pa s), volatile part
// and gloss index.
func vehicle(id, title string, price, solids, tack, viscosity, volatile, gloss float64, suppliers ...string) material {
	return material{
		id: id, title: title, class: pb.MaterialClass_MATERIAL_CLASS_VARNISH, price: price,
		props: props{
			"binder_solids_fraction": solids, "tack_units": tack, "viscosity_pa_s": viscosity, "volatile_fraction": volatile,
			"gloss_units": gloss, "density_kg_per_l": 1.01, "wetting_vehicle_fraction": 0.9,
		},
		shelfDays: 540, safetyKg: 400, suppliers: suppliers, lots: 4, lotKg: 1400, packKg: 180,
	}
}

// oil gives an oil or distillate.
func oil(id, title string, price, solids, viscosity, volatile, density float64, caution string, suppliers ...string) material {
	return material{
		id: id, title: title, class: pb.MaterialClass_MATERIAL_CLASS_OIL, price: price,
		props: props{
			"binder_solids_fraction": min(solids, 0.985), "tack_units": 0.6, "viscosity_pa_s": viscosity, "volatile_fraction": volatile,
			"gloss_units": 30, "density_kg_per_l": density, "wetting_vehicle_fraction": 1,
		},
		shelfDays: 730, safetyKg: 300, cautions: []string{caution}, suppliers: suppliers, lots: 5, lotKg: 800, packKg: 180,
	}
}

func drier(id, title string, price, volatile float64, metals map[string]float64, caution string, suppliers ...string) material {
	p := props{
		"binder_solids_fraction": 0.2, "tack_units": 2, "viscosity_pa_s": 0.4, "volatile_fraction": volatile,
		"gloss_units": 20, "density_kg_per_l": 0.98,
	}
	for metal, fraction := range metals {
		p["metal_fraction/"+metal] = fraction
	}
	return material{
		id: id, title: title, class: pb.MaterialClass_MATERIAL_CLASS_DRIER, price: price, props: p,
		shelfDays: 365, safetyKg: 20, cautions: []string{caution}, suppliers: suppliers, lots: 3, lotKg: 60, packKg: 20,
	}
}

func wax(id, title string, price, solids, tack, viscosity float64, suppliers ...string) material {
	return material{
		id: id, title: title, class: pb.MaterialClass_MATERIAL_CLASS_WAX, price: price,
		props: props{
			"wax_solids_fraction": solids, "tack_units": tack, "viscosity_pa_s": viscosity, "gloss_units": 4,
			"density_kg_per_l": 0.96, "binder_solids_fraction": (1 - solids) * 0.6, "volatile_fraction": (1 - solids) * 0.1,
		},
		shelfDays: 730, safetyKg: 40, suppliers: suppliers, lots: 4, lotKg: 160, packKg: 20,
	}
}

func additive(id, title string, price, tack, viscosity, density float64, extra props, suppliers ...string) material {
	p := props{"tack_units": tack, "viscosity_pa_s": viscosity, "density_kg_per_l": density, "gloss_units": 10}
	for k, v := range extra {
		p[k] = v
	}
	return material{
		id: id, title: title, class: pb.MaterialClass_MATERIAL_CLASS_ADDITIVE, price: price, props: p,
		shelfDays: 730, safetyKg: 30, suppliers: suppliers, lots: 3, lotKg: 200, packKg: 25,
	}
}

// rawMaterials is what the plant buys to make ink from.
func rawMaterials() []material {
	out := []material{
		pigment("py12-transparent", "PY12, transparent", "PY12", 7.90, 1.42, 42, "veldrin", "harrowfen"),
		pigment("py13-process", "PY13, process yellow", "PY13", 8.60, 1.40, 45, "veldrin", "harrowfen", "maraun"),
		pigment("py14-opaque", "PY14, opaque", "PY14", 8.10, 1.44, 38, "harrowfen"),
		pigment("py83-lightfast", "PY83, lightfast", "PY83", 14.20, 1.46, 50, "veldrin"),
		pigment("po34-orange", "PO34", "PO34", 11.80, 1.40, 48, "veldrin", "maraun"),
		pigment("pr57-1-bluish", "PR57:1, bluish", "PR57:1", 8.90, 1.52, 55, "veldrin", "harrowfen", "maraun"),
		pigment("pr57-1-strong", "PR57:1, strong grade", "PR57:1", 9.70, 1.52, 58, "harrowfen"),
		pigment("pr48-2-red", "PR48:2", "PR48:2", 9.30, 1.55, 50, "harrowfen", "maraun"),
		pigment("pr53-1-warm", "PR53:1", "PR53:1", 8.20, 1.66, 46, "harrowfen"),
		pigment("pr122-magenta", "PR122", "PR122", 24.50, 1.45, 60, "veldrin"),
		pigment("pv23-violet", "PV23", "PV23", 27.00, 1.48, 62, "veldrin"),
		pigment("pb15-3-green-shade", "PB15:3, green shade", "PB15:3", 10.40, 1.58, 44, "veldrin", "harrowfen", "maraun"),
		pigment("pb15-3-easy", "PB15:3, easy dispersing", "PB15:3", 11.60, 1.58, 40, "harrowfen"),
		pigment("pg7-green", "PG7", "PG7", 13.10, 2.05, 36, "veldrin", "maraun"),
		pigment("pbk7-furnace", "PBk7, furnace, beaded", "PBk7", 2.60, 1.80, 68, "sundmarsh", "maraun"),
		pigment("pbk7-long-flow", "PBk7, long flow", "PBk7", 3.40, 1.80, 55, "sundmarsh"),
		pigment("pw6-rutile", "PW6, rutile", "PW6", 3.30, 4.10, 19, "sundmarsh", "maraun"),

		vehicle("qs-firm", "Quickset varnish, firm", 3.35, 0.72, 17, 110, 0.05, 62, "lindholt", "ostrova"),
		vehicle("qs-soft", "Quickset varnish, soft", 3.05, 0.66, 11, 45, 0.08, 55, "lindholt", "ostrova"),
		vehicle("gel-firm", "Gel varnish, firm", 3.60, 0.70, 14, 160, 0.06, 58, "lindholt"),
		vehicle("gloss-phenolic", "Gloss varnish, rosin-modified phenolic", 4.10, 0.76, 19, 130, 0.03, 78, "ostrova"),
		vehicle("long-oil-alkyd", "Long-oil alkyd", 2.75, 0.97, 8, 18, 0.01, 66, "ostrova", "lindholt"),
		vehicle("medium-alkyd", "Medium-oil alkyd", 2.95, 0.92, 12, 60, 0.02, 68, "ostrova"),
		vehicle("low-tack", "Low-tack let-down varnish", 2.90, 0.62, 5, 14, 0.12, 44, "lindholt"),
		vehicle("heatset-hard", "Heatset varnish, hard resin", 2.55, 0.55, 13, 70, 0.24, 50, "lindholt", "ostrova"),
		vehicle("heatset-gel", "Heatset gel varnish", 2.75, 0.54, 11, 95, 0.25, 48, "lindholt"),
		vehicle("hydrocarbon-news", "Hydrocarbon resin varnish", 1.85, 0.48, 6, 12, 0.10, 30, "ostrova"),

		oil("linseed", "Linseed oil, refined", 1.95, 1, 0.04, 0.002, 0.930, oilyRags, "quellmark", "maraun"),
		oil("soya", "Soya bean oil, refined", 1.35, 0.9, 0.055, 0.002, 0.922, oilyRags, "quellmark"),
		oil("tung", "Tung oil", 3.90, 1, 0.26, 0.003, 0.938, oilyRags, "quellmark"),
		oil("fatty-ester", "Vegetable oil ester", 1.75, 0.3, 0.008, 0.03, 0.885, oilyRags, "quellmark", "sundmarsh"),
		oil("distillate-240", "Distillate 240/270 C", 1.45, 0, 0.005, 0.92, 0.825, solvent, "sundmarsh", "quellmark"),
		oil("distillate-260", "Distillate 260/290 C", 1.55, 0, 0.007, 0.72, 0.838, solvent, "sundmarsh"),
		oil("distillate-280", "Distillate 280/310 C", 1.70, 0, 0.010, 0.50, 0.850, solvent, "sundmarsh"),

		drier("cobalt-10", "Cobalt drier 10 %", 19.50, 0.35, map[string]float64{"cobalt": 0.10}, cobaltSds, "brackenau"),
		drier("manganese-8", "Manganese drier 8 %", 9.80, 0.38, map[string]float64{"manganese": 0.08}, metalSds, "brackenau", "sundmarsh"),
		drier("zirconium-12", "Zirconium drier 12 %", 8.70, 0.40, map[string]float64{"zirconium": 0.12}, metalSds, "brackenau"),
		drier("calcium-10", "Calcium drier 10 %", 6.20, 0.36, map[string]float64{"calcium": 0.10}, metalSds, "brackenau", "sundmarsh"),
		drier("paste-co-mn", "Paste drier, cobalt and manganese", 8.10, 0.10, map[string]float64{"cobalt": 0.012, "manganese": 0.018}, cobaltSds, "brackenau"),

		wax("pe-paste", "Polyethylene wax paste", 3.90, 0.35, 5, 60, "pellwick"),
		wax("pe-micronised", "Polyethylene wax, micronised", 5.80, 1, 12, 900, "pellwick", "maraun"),
		wax("ft-micronised", "Synthetic hard wax, micronised", 6.90, 1, 13, 1000, "pellwick"),
		wax("carnauba-paste", "Carnauba wax paste", 6.30, 0.40, 5, 50, "pellwick"),

		additive("anti-skin", "Anti-skinning agent", 6.40, 1, 0.05, 0.95, props{"volatile_fraction": 0.2}, "sundmarsh"),
		additive("wetting-agent", "Wetting agent", 7.20, 2, 2, 1.0, props{"binder_solids_fraction": 0.6, "wetting_vehicle_fraction": 1}, "sundmarsh"),
		additive("anti-set-off", "Anti-set-off powder paste", 3.20, 6, 80, 1.25, nil, "pellwick"),
		additive("chalk", "Calcium carbonate, precipitated", 0.95, 13, 1500, 2.65, props{"oil_absorption_g_per_100g": 30}, "maraun", "sundmarsh"),
		additive("kaolin", "Kaolin, fine", 0.80, 13, 1300, 2.60, props{"oil_absorption_g_per_100g": 42}, "maraun", "sundmarsh"),
		additive("bentone", "Organoclay", 5.10, 14, 4000, 1.70, nil, "sundmarsh"),
	}
	for i := range out {
		switch out[i].id {
		case scarce:
			out[i].lots, out[i].lotKg = 4, 470
		case "pe-micronised":
			out[i].lots, out[i].lotKg = 4, 34
		case "kaolin", "chalk":
			out[i].lots, out[i].lotKg = 4, 500
		}
	}
	return out
}

// scarce is the material of which the plant holds too little for the batches
// that are due, so that purchasing has something to find.
const scarce = "qs-soft"

// workOff is leftover ink to be worked back in; it was paid for once, so the
// book values it low.
func workOff() []material {
	mk := func(id, title string, price float64, p props) material {
		return material{id: id, title: title, class: pb.MaterialClass_MATERIAL_CLASS_WORK_OFF, price: price, props: p,
			shelfDays: 180, lots: 4, lotKg: 45}
	}
	return []material{
		mk("work-off-black", "Work-off, dark", 1.10, props{"pigment_fraction/PBk7": 0.12, "pigment_fraction/PB15:3": 0.03, "pigment_fraction/PR57:1": 0.02,
			"binder_solids_fraction": 0.52, "tack_units": 9.5, "viscosity_pa_s": 24, "volatile_fraction": 0.06, "gloss_units": 36,
			"density_kg_per_l": 1.06, "wax_solids_fraction": 0.012, "metal_fraction/cobalt": 0.0002, "metal_fraction/manganese": 0.0002, "wetting_vehicle_fraction": 0.5, "oil_absorption_g_per_100g": 55}),
		mk("work-off-blue", "Work-off, blue", 1.60, props{"pigment_fraction/PB15:3": 0.15, "binder_solids_fraction": 0.55, "tack_units": 9.8,
			"viscosity_pa_s": 25, "volatile_fraction": 0.05, "gloss_units": 40, "density_kg_per_l": 1.05, "wax_solids_fraction": 0.014,
			"metal_fraction/cobalt": 0.0002, "metal_fraction/manganese": 0.0002, "wetting_vehicle_fraction": 0.5, "oil_absorption_g_per_100g": 44}),
		mk("work-off-yellow", "Work-off, yellow", 1.40, props{"pigment_fraction/PY13": 0.11, "binder_solids_fraction": 0.55, "tack_units": 9.4,
			"viscosity_pa_s": 22, "volatile_fraction": 0.05, "gloss_units": 40, "density_kg_per_l": 1.04, "wax_solids_fraction": 0.013,
			"metal_fraction/cobalt": 0.0002, "metal_fraction/manganese": 0.0002, "wetting_vehicle_fraction": 0.5, "oil_absorption_g_per_100g": 45}),
	}
}

// packaging is bought by the kg of its own mass, which nobody weighs; the plant
// keeps a few lots so that the class is there.
func packaging() []material {
	return []material{
		{id: "tin-1", title: "Vacuum tin 1 kg", class: pb.MaterialClass_MATERIAL_CLASS_PACKAGING, price: 4.2, suppliers: []string{"ketterby"}, lots: 2, lotKg: 120},
		{id: "tin-2-5", title: "Vacuum tin 2.5 kg", class: pb.MaterialClass_MATERIAL_CLASS_PACKAGING, price: 3.9, suppliers: []string{"ketterby"}, lots: 2, lotKg: 200},
		{id: "pail-20", title: "Pail 20 kg", class: pb.MaterialClass_MATERIAL_CLASS_PACKAGING, price: 3.1, suppliers: []string{"ketterby"}, lots: 2, lotKg: 300},
	}
}
