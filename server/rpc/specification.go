package rpc

import (
	"context"
	"fmt"
	"regexp"
	"strings"

	"millbase/inventory"
	"millbase/inventory/property"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// SpecificationServer serves what an ink has to be.
type SpecificationServer struct {
	millbasev1.UnimplementedSpecificationServiceServer
	book *app.Book
}

// NewSpecificationServer serves the book's specifications.
func NewSpecificationServer(book *app.Book) *SpecificationServer {
	return &SpecificationServer{book: book}
}

var specificationFilter = filterFields{"material": nameField(materials), "archived": flagField}

// CreateSpecification implements the service.
func (s *SpecificationServer) CreateSpecification(ctx context.Context, req *millbasev1.CreateSpecificationRequest) (*millbasev1.Specification, error) {
	f := &fields{}
	spec := f.specification("specification", req.GetSpecification())
	spec.ID = req.GetSpecificationId()
	if err := f.err(); err != nil {
		return nil, err
	}
	request, err := requestOf("CreateSpecification", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	rec, err := s.book.CreateSpecification(ctx, spec, request)
	if err != nil {
		return nil, limitFields(err)
	}
	return specificationOut(rec), nil
}

// GetSpecification implements the service.
func (s *SpecificationServer) GetSpecification(ctx context.Context, req *millbasev1.GetSpecificationRequest) (*millbasev1.Specification, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), specifications)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.GetSpecification(ctx, id)
	if err != nil {
		return nil, err
	}
	return specificationOut(rec), nil
}

// ListSpecifications implements the service.
func (s *SpecificationServer) ListSpecifications(ctx context.Context, req *millbasev1.ListSpecificationsRequest) (*millbasev1.ListSpecificationsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := specificationFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	list, err := s.book.ListSpecifications(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListSpecificationsResponse{}
	list, out.NextPageToken = cut(p, list, func(r app.Record[formulation.Specification]) string { return r.Value.ID })
	for _, rec := range list {
		out.Specifications = append(out.Specifications, specificationOut(rec))
	}
	return out, nil
}

// UpdateSpecification implements the service.
func (s *SpecificationServer) UpdateSpecification(ctx context.Context, req *millbasev1.UpdateSpecificationRequest) (*millbasev1.Specification, error) {
	f := &fields{}
	id := f.id("specification.name", req.GetSpecification().GetName(), specifications)
	version := f.etag("specification.etag", req.GetSpecification().GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	current, err := s.book.GetSpecification(ctx, id)
	if err != nil {
		return nil, err
	}
	if version == 0 {
		version = current.Version // what the mask is laid over
	}
	changed := specificationOut(current)
	if err := applyMask("specification", req.GetUpdateMask(), changed, req.GetSpecification()); err != nil {
		return nil, err
	}
	spec := f.specification("specification", changed)
	spec.ID = id
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.UpdateSpecification(ctx, spec, version)
	if err != nil {
		return nil, limitFields(err)
	}
	return specificationOut(rec), nil
}

func (f *fields) specification(field string, m *millbasev1.Specification) formulation.Specification {
	return formulation.Specification{
		Title:    m.GetTitle(),
		Material: f.optionalID(field+".material", m.GetMaterial(), materials),
		Limits:   f.limits(field+".limits", m.GetLimits()),
		Note:     m.GetNote(),
		Archived: m.GetArchived(),
	}
}

func specificationOut(rec app.Record[formulation.Specification]) *millbasev1.Specification {
	out := &millbasev1.Specification{
		Name:       nameOf(specifications, rec.Value.ID),
		Title:      rec.Value.Title,
		Material:   nameOf(materials, rec.Value.Material),
		Note:       rec.Value.Note,
		Archived:   rec.Value.Archived,
		Etag:       etagOut(rec.Version),
		CreateTime: momentOut(rec.CreatedAt),
		UpdateTime: momentOut(rec.UpdatedAt),
	}
	for i := range rec.Value.Limits {
		out.Limits = append(out.Limits, limitOut(&rec.Value.Limits[i]))
	}
	return out
}

func (f *fields) limits(field string, list []*millbasev1.Limit) []formulation.Limit {
	out := make([]formulation.Limit, len(list))
	for i, m := range list {
		out[i] = f.limit(fmt.Sprintf("%s[%d]", field, i), m)
	}
	return out
}

// limit converts one limit; what its numbers may be is the solver's to say.
func (f *fields) limit(field string, m *millbasev1.Limit) formulation.Limit {
	if m == nil {
		f.add(field, "is empty; give a limit or leave it out")
		return formulation.Limit{}
	}
	l := formulation.Limit{ID: m.GetLimitId(), Title: m.GetTitle(), Lower: m.Lower, Upper: m.Upper,
		Hard: m.GetHard(), MoveWeight: m.GetMoveWeight()}
	safetyIn(&l, m.GetSafety())
	switch subject := m.GetSubject().(type) {
	case *millbasev1.Limit_PigmentLoading_:
		l.Kind = formulation.PigmentLoading
		l.ColourIndex, l.ByStrength = subject.PigmentLoading.GetColourIndex(), subject.PigmentLoading.GetByStrength()
	case *millbasev1.Limit_VocMass_:
		l.Kind = formulation.VOCMass
	case *millbasev1.Limit_VocContent_:
		l.Kind = formulation.VOCContent
	case *millbasev1.Limit_MetalOnBinder_:
		l.Kind, l.Metal = formulation.MetalOnBinder, subject.MetalOnBinder.GetMetal()
	case *millbasev1.Limit_Share_:
		l.Kind = formulation.Share
		for _, name := range subject.Share.GetMaterials() {
			l.Materials = append(l.Materials, strings.TrimPrefix(name, materials+"/"))
		}
		for _, c := range subject.Share.GetClasses() {
			l.Classes = append(l.Classes, inventory.Class(word(c)))
		}
	case *millbasev1.Limit_WaxSolids_:
		l.Kind = formulation.WaxSolids
	case *millbasev1.Limit_WettingDemand_:
		l.Kind = formulation.WettingDemand
	case *millbasev1.Limit_Blended_:
		l.Kind, l.Property = formulation.Blended, strings.TrimPrefix(subject.Blended.GetProperty(), properties+"/")
		l.Index = property.Index(word(subject.Blended.GetIndex()))
	default:
		f.add(field, "say what is limited: pigment_loading, voc_mass, voc_content, metal_on_binder, share, wax_solids, wetting_demand or blended")
	}
	return l
}

func limitOut(l *formulation.Limit) *millbasev1.Limit {
	out := &millbasev1.Limit{LimitId: l.ID, Title: l.Title, Lower: l.Lower, Upper: l.Upper, Hard: l.Hard, MoveWeight: l.MoveWeight, Safety: safetyOut(l)}
	switch l.Kind {
	case formulation.PigmentLoading:
		out.Subject = &millbasev1.Limit_PigmentLoading_{PigmentLoading: &millbasev1.Limit_PigmentLoading{ColourIndex: l.ColourIndex, ByStrength: l.ByStrength}}
	case formulation.VOCMass:
		out.Subject = &millbasev1.Limit_VocMass_{VocMass: &millbasev1.Limit_VocMass{}}
	case formulation.VOCContent:
		out.Subject = &millbasev1.Limit_VocContent_{VocContent: &millbasev1.Limit_VocContent{}}
	case formulation.MetalOnBinder:
		out.Subject = &millbasev1.Limit_MetalOnBinder_{MetalOnBinder: &millbasev1.Limit_MetalOnBinder{Metal: l.Metal}}
	case formulation.Share:
		share := &millbasev1.Limit_Share{}
		for _, m := range l.Materials {
			share.Materials = append(share.Materials, nameOf(materials, m))
		}
		for _, c := range l.Classes {
			share.Classes = append(share.Classes, enum[millbasev1.MaterialClass](string(c)))
		}
		out.Subject = &millbasev1.Limit_Share_{Share: share}
	case formulation.WaxSolids:
		out.Subject = &millbasev1.Limit_WaxSolids_{WaxSolids: &millbasev1.Limit_WaxSolids{}}
	case formulation.WettingDemand:
		out.Subject = &millbasev1.Limit_WettingDemand_{WettingDemand: &millbasev1.Limit_WettingDemand{}}
	case formulation.Blended:
		out.Subject = &millbasev1.Limit_Blended_{Blended: &millbasev1.Limit_Blended{Property: l.Property, Index: enum[millbasev1.BlendingIndex](string(l.Index))}}
	}
	return out
}

// insideLimit is where the API has a field of a limit.
var insideLimit = map[string]string{"id": "limit_id", "metal": "metal_on_binder.metal", "materials": "share.materials",
	"classes": "share.classes", "property": "blended.property",
	"confidence": "safety.confidence", "budget": "safety.budget", "spread": "safety.spread"}

var limitField = regexp.MustCompile(`limits\[(\d+)\]\.(\w+)(.*)$`)

// limitFields writes the field paths of limits as the API has them: a limit's
// subject is a message of its own there.
func limitFields(err error) error {
	bad, ok := err.(app.Invalid)
	if !ok {
		return err
	}
	out := make(app.Invalid, len(bad))
	for i, b := range bad {
		b.Field = limitField.ReplaceAllStringFunc(b.Field, func(path string) string {
			m := limitField.FindStringSubmatch(path)
			if name, renamed := insideLimit[m[2]]; renamed {
				m[2] = name
			}
			return fmt.Sprintf("limits[%s].%s%s", m[1], m[2], m[3])
		})
		out[i] = b
	}
	return out
}
