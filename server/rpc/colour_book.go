package rpc

import (
	"context"
	"fmt"

	pb "millbase/proto/millbase/v1"

	"millbase/server/app"
)

// colourService serves the colour book.
type colourService struct {
	pb.UnimplementedColourServiceServer
	book *app.Book
}

func (s *colourService) CreateSubstrate(ctx context.Context, req *pb.CreateSubstrateRequest) (*pb.Substrate, error) {
	request, err := requestOf("CreateSubstrate", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	v := substrateOf(f, req.GetSubstrateId(), req.GetSubstrate())
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.CreateSubstrate(ctx, v, request)
	return substrateOut(rec), err
}

func (s *colourService) GetSubstrate(ctx context.Context, req *pb.GetSubstrateRequest) (*pb.Substrate, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), substrates)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.Substrate(ctx, id)
	return substrateOut(rec), err
}

func (s *colourService) ListSubstrates(ctx context.Context, req *pb.ListSubstratesRequest) (*pb.ListSubstratesResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), substrates, "")
	if err != nil {
		return nil, err
	}
	recs, err := s.book.Substrates(ctx, p.query(nil))
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[app.Substrate]) string { return r.Value.ID })
	return &pb.ListSubstratesResponse{Substrates: each(recs, substrateOut), NextPageToken: next}, nil
}

func (s *colourService) UpdateSubstrate(ctx context.Context, req *pb.UpdateSubstrateRequest) (*pb.Substrate, error) {
	patch := req.GetSubstrate()
	f := &fields{}
	id := f.id("substrate.name", patch.GetName(), substrates)
	version := f.etag("substrate.etag", patch.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.UpdateSubstrate(ctx, id, version, func(now app.Record[app.Substrate]) (app.Substrate, error) {
		merged := substrateOut(now)
		if err := applyMask("substrate", req.GetUpdateMask(), merged, patch); err != nil {
			return app.Substrate{}, err
		}
		f := &fields{}
		v := substrateOf(f, id, merged)
		return v, f.err()
	})
	return substrateOut(rec), err
}

func substrateOf(f *fields, id string, s *pb.Substrate) app.Substrate {
	return app.Substrate{ID: id, Title: s.GetTitle(), Curve: f.curve("substrate.curve", s.GetCurve()), Surface: surfaceOf(s.GetSurface()),
		FilmGPerM2: s.GetFilmGPerM2(), Measured: s.GetMeasured()}
}

func substrateOut(r app.Record[app.Substrate]) *pb.Substrate {
	s := r.Value
	return &pb.Substrate{Name: nameOf(substrates, s.ID), Title: s.Title, Curve: curveOut(s.Curve), Surface: surfaceOut(s.Surface), FilmGPerM2: s.FilmGPerM2,
		Measured: s.Measured, Etag: etagOut(r.Version), CreateTime: momentOut(r.CreatedAt), UpdateTime: momentOut(r.UpdatedAt)}
}

func (s *colourService) CreateCharacterisation(ctx context.Context, req *pb.CreateCharacterisationRequest) (*pb.Characterisation, error) {
	request, err := requestOf("CreateCharacterisation", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	in := req.GetCharacterisation()
	c := app.Characterisation{ID: req.GetCharacterisationId(), Material: f.id("characterisation.material", in.GetMaterial(), materials),
		Substrate: f.id("characterisation.substrate", in.GetSubstrate(), substrates), Opaque: in.GetMode() == pb.PrintMode_PRINT_MODE_OPAQUE,
		White: f.optionalID("characterisation.white", in.GetWhite(), characterisations), Note: in.GetNote()}
	for i, d := range in.GetDrawdowns() {
		c.Drawdowns = append(c.Drawdowns, app.Drawdown{Concentration: d.GetConcentration(), FilmGPerM2: d.GetFilmGPerM2(),
			Curve: f.curve(fmt.Sprintf("characterisation.drawdowns[%d].curve", i), d.GetCurve())})
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.Characterise(ctx, c, request)
	return characterisationOut(rec), err
}

func (s *colourService) GetCharacterisation(ctx context.Context, req *pb.GetCharacterisationRequest) (*pb.Characterisation, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), characterisations)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.Characterisation(ctx, id)
	return characterisationOut(rec), err
}

var characterisationFilter = filterFields{"material": nameField(materials), "substrate": nameField(substrates), "superseded": flagField}

func (s *colourService) ListCharacterisations(ctx context.Context, req *pb.ListCharacterisationsRequest) (*pb.ListCharacterisationsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), characterisations, req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := characterisationFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	recs, err := s.book.Characterisations(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[app.Characterisation]) string { return r.Value.ID })
	return &pb.ListCharacterisationsResponse{Characterisations: each(recs, characterisationOut), NextPageToken: next}, nil
}

func characterisationOut(r app.Record[app.Characterisation]) *pb.Characterisation {
	c := r.Value
	out := &pb.Characterisation{Name: nameOf(characterisations, c.ID), Material: nameOf(materials, c.Material), Substrate: nameOf(substrates, c.Substrate),
		Mode: pb.PrintMode_PRINT_MODE_FILM, White: nameOf(characterisations, c.White), Note: c.Note, K: c.K, S: c.S, Residual: c.Residual,
		MostAbsorptionNm: int32(c.MostAbsorption()), Warnings: c.Warnings(), Superseded: c.Superseded, CreateTime: momentOut(r.CreatedAt)}
	if c.Opaque {
		out.Mode = pb.PrintMode_PRINT_MODE_OPAQUE
	}
	for _, d := range c.Drawdowns {
		out.Drawdowns = append(out.Drawdowns, &pb.Drawdown{Concentration: d.Concentration, FilmGPerM2: d.FilmGPerM2, Curve: curveOut(d.Curve), De00: d.DE00})
	}
	return out
}
