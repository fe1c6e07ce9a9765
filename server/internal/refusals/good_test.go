package refusals

import (
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// good gives for every method a request that succeeds on the book, by the
// method's short name. What is done by the request can be done once only, so each
// call makes a new one.
func (b *book) good() map[string]func() proto.Message {
	id := func() string { return uuid.NewString() }
	return map[string]func() proto.Message{
		"CreateProperty": func() proto.Message {
			return &pb.CreatePropertyRequest{PropertyId: "gloss_" + letters(b.serial.Add(1)) + "_units", RequestId: id(),
				Property: &pb.Property{Title: "Gloss", Unit: "units", Index: pb.BlendingIndex_BLENDING_INDEX_LINEAR, Basis: "mass", MaxValue: 100}}
		},
		"GetProperty":    func() proto.Message { return &pb.GetPropertyRequest{Name: "properties/tack_units"} },
		"ListProperties": func() proto.Message { return &pb.ListPropertiesRequest{} },
		"CreateMaterial": func() proto.Message {
			return &pb.CreateMaterialRequest{MaterialId: b.fresh("m"), Material: oil(""), RequestId: id()}
		},
		"GetMaterial":    func() proto.Message { return &pb.GetMaterialRequest{Name: "materials/linseed"} },
		"ListMaterials":  func() proto.Message { return &pb.ListMaterialsRequest{} },
		"UpdateMaterial": func() proto.Message { return &pb.UpdateMaterialRequest{Material: oil("materials/soya")} },
		"CreateSupplier": func() proto.Message {
			return &pb.CreateSupplierRequest{SupplierId: b.fresh("s"), Supplier: supplier(), RequestId: id()}
		},
		"GetSupplier":   func() proto.Message { return &pb.GetSupplierRequest{Name: "suppliers/quellmark"} },
		"ListSuppliers": func() proto.Message { return &pb.ListSuppliersRequest{} },
		"UpdateSupplier": func() proto.Message {
			s := supplier()
			s.Name = "suppliers/quellmark"
			return &pb.UpdateSupplierRequest{Supplier: s}
		},
		"CreateOffer": func() proto.Message {
			return &pb.CreateOfferRequest{Parent: "suppliers/quellmark", OfferId: b.fresh("o"), Offer: offer(), RequestId: id()}
		},
		"GetOffer":   func() proto.Message { return &pb.GetOfferRequest{Name: "suppliers/quellmark/offers/linseed"} },
		"ListOffers": func() proto.Message { return &pb.ListOffersRequest{Parent: "suppliers/quellmark"} },
		"UpdateOffer": func() proto.Message {
			o := offer()
			o.Name = "suppliers/quellmark/offers/linseed"
			return &pb.UpdateOfferRequest{Offer: o}
		},
		"ReceiveLot": func() proto.Message {
			return &pb.ReceiveLotRequest{LotId: b.fresh("l"), Lot: &pb.Lot{Material: "materials/linseed", Supplier: "suppliers/quellmark", ReceivedDate: "2026-01-02",
				ExpiryDate: "2099-01-01", Certificate: map[string]float64{"density_kg_per_l": 0.93}, Deviations: map[string]float64{"density_kg_per_l": 0.001}, Cost: &pb.LotCost{PricePerKg: eur(2)}},
				QuantityKg: 10, Location: "store", MovementId: id()}
		},
		"GetLot":   func() proto.Message { return &pb.GetLotRequest{Name: "lots/l-1"} },
		"ListLots": func() proto.Message { return &pb.ListLotsRequest{} },
		"UpdateLot": func() proto.Message {
			return &pb.UpdateLotRequest{Lot: &pb.Lot{Name: "lots/l-2", Material: "materials/linseed", ExpiryDate: "2099-02-01", Note: "seen"}}
		},
		"SetLotStatus": func() proto.Message {
			return &pb.SetLotStatusRequest{Name: "lots/l-2", Status: pb.LotStatus_LOT_STATUS_RELEASED}
		},
		"ListBalances":   func() proto.Message { return &pb.ListBalancesRequest{} },
		"CreateMovement": func() proto.Message { return issue() },
		"BatchCreateMovements": func() proto.Message {
			return &pb.BatchCreateMovementsRequest{Requests: []*pb.CreateMovementRequest{issue()}}
		},
		"CountStock": func() proto.Message {
			return &pb.CountStockRequest{Lot: "lots/l-1", Location: "store", CountedKg: 4000, MovementId: id()}
		},
		"GetMovement":       func() proto.Message { return &pb.GetMovementRequest{Name: b.movement()} },
		"ListMovements":     func() proto.Message { return &pb.ListMovementsRequest{} },
		"ReverseMovement":   func() proto.Message { return &pb.ReverseMovementRequest{Name: b.movement(), MovementId: id()} },
		"CreateReservation": func() proto.Message { return reserve() },
		"GetReservation":    func() proto.Message { return &pb.GetReservationRequest{Name: b.reservation()} },
		"ListReservations":  func() proto.Message { return &pb.ListReservationsRequest{} },
		"ReleaseReservation": func() proto.Message {
			return &pb.ReleaseReservationRequest{Name: b.reservation()}
		},
		"CheckLedger": func() proto.Message { return &pb.CheckLedgerRequest{} },
	}
}

// letters writes n in letters, for names that take no digits in front.
func letters(n int64) string {
	out := ""
	for ; n > 0; n /= 26 {
		out += string(rune('a' + n%26))
	}
	return out
}

// goodMakings is good for the makers' and sellers' side.
func (b *book) goodMakings() map[string]func() proto.Message {
	id := func() string { return uuid.NewString() }
	return map[string]func() proto.Message{
		"CreateSpecification": func() proto.Message {
			return &pb.CreateSpecificationRequest{SpecificationId: b.fresh("spec"), Specification: specification(), RequestId: id()}
		},
		"GetSpecification":   func() proto.Message { return &pb.GetSpecificationRequest{Name: "specifications/cyan"} },
		"ListSpecifications": func() proto.Message { return &pb.ListSpecificationsRequest{} },
		"UpdateSpecification": func() proto.Message {
			s := specification()
			s.Name = "specifications/cyan"
			return &pb.UpdateSpecificationRequest{Specification: s}
		},
		"Optimise": func() proto.Message {
			most, low := 500.0, 0.94
			aim := &pb.Limit{LimitId: "aim", Lower: &low, Subject: specification().Limits[0].Subject}
			return &pb.OptimiseRequest{Limits: specification().Limits, QuantityKg: 100, Date: b.due, WaterDensityKgPerL: 0.997,
				Weighing: weighing(), Aims: []*pb.Aim{{Target: aim, WeightBelow: 1, WeightAbove: 1}}, AimTolerancePercent: 1, CostRank: 2, CostTolerancePercent: 1,
				Candidates: []*pb.InlineCandidate{{CandidateId: "a", PricePerKg: eur(2), AvailableKg: &most, AtLeastKg: 1,
					Properties: map[string]float64{"density_kg_per_l": 0.95}, Deviations: map[string]float64{"density_kg_per_l": 0.001}}}}
		},
		"CreateFormula": func() proto.Message {
			return &pb.CreateFormulaRequest{FormulaId: b.fresh("f"), Formula: formula(), RequestId: id()}
		},
		"GetFormula":           func() proto.Message { return &pb.GetFormulaRequest{Name: "formulas/cyan"} },
		"ListFormulas":         func() proto.Message { return &pb.ListFormulasRequest{} },
		"ListFormulaRevisions": func() proto.Message { return &pb.ListFormulaRevisionsRequest{Name: "formulas/cyan"} },
		"ReleaseFormula":       func() proto.Message { return &pb.ReleaseFormulaRequest{Name: "formulas/cyan@1"} },
		"CreateBatch": func() proto.Message {
			return &pb.CreateBatchRequest{BatchId: b.fresh("b"), RequestId: id(), Batch: &pb.Batch{Formula: "formulas/cyan@1", QuantityKg: 1, DueDate: b.due}}
		},
		"GetBatch":     func() proto.Message { return &pb.GetBatchRequest{Name: b.batch(false)} },
		"ListBatches":  func() proto.Message { return &pb.ListBatchesRequest{} },
		"ReserveBatch": func() proto.Message { return &pb.ReserveBatchRequest{Name: b.batch(false)} },
		"FinishBatch": func() proto.Message {
			return &pb.FinishBatchRequest{Name: b.batch(true), FinishedKg: 0.9, FinishedLotId: b.fresh("made"), Location: "store", RequestId: id()}
		},
		"CancelBatch":    func() proto.Message { return &pb.CancelBatchRequest{Name: b.batch(true)} },
		"GetBatchTicket": func() proto.Message { return &pb.GetBatchTicketRequest{Name: b.batch(true)} },
		"GetLeadTime": func() proto.Message {
			return &pb.GetLeadTimeRequest{Material: "materials/cyan", QuantityKg: 5, FromDate: b.due}
		},
		"ListProducts": func() proto.Message { return &pb.ListProductsRequest{} },
		"GetPlant":     func() proto.Message { return &pb.GetPlantRequest{} },
		"UpdatePlant":  func() proto.Message { return &pb.UpdatePlantRequest{Plant: plant()} },
		"CreateKey": func() proto.Message {
			return &pb.CreateKeyRequest{KeyId: b.fresh("k"), Key: &pb.Key{Title: "k", Role: pb.Role_ROLE_FLOOR}}
		},
		"ListKeys":  func() proto.Message { return &pb.ListKeysRequest{} },
		"RevokeKey": func() proto.Message { return &pb.RevokeKeyRequest{Name: "keys/floor"} },
		"WhoAmI":    func() proto.Message { return &pb.WhoAmIRequest{} },
	}
}

func plant() *pb.Plant {
	return &pb.Plant{Title: "Test plant", CurrencyCode: "EUR", TimeZone: "Europe/Lisbon", WaterDensityKgPerL: 0.997, ScaleDivisionKg: 0.001,
		HolidayDates:  []string{"2026-12-25"},
		Shifts:        []*pb.Shift{{IsoWeekday: 1, FromTime: "06:00", ToTime: "14:00"}},
		Machines:      []*pb.Machine{{MachineId: "mixer-1", Steps: []pb.ProcessStep{pb.ProcessStep_PROCESS_STEP_PREMIX}, CapacityKg: 800, ThroughputKgPerH: 100, RatePerHour: eur(40)}},
		ExchangeRates: []*pb.ExchangeRate{{CurrencyCode: "USD", Rate: "0.91", RateDate: "2026-01-02"}},
		Packs:         []*pb.Pack{{PackId: "tin-1", HoldsKg: 1, Cost: eur(1)}},
	}
}

func weighing() *pb.Weighing {
	a := &pb.Members{Candidates: []string{"a"}}
	return &pb.Weighing{Scales: []*pb.Scale{{Title: "floor", DivisionKg: 0.1}}, LeastKg: 0.2, MostComponents: 3, MostLotsPerMaterial: 2, ToleranceKg: 0.1,
		TimeLimitSeconds: 2, GapPercent: 0.1, WholeContainers: []*pb.WholeContainer{{Members: a, ContentKg: 1}},
		Implications: []*pb.Implication{{Used: a, Needed: a}}, Choices: []*pb.Choice{{Members: a, AtLeast: 1, AtMost: 2}}}
}
