package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// CreateSpecification adds a specification. Its limits are checked against the
// plant's catalogue of properties, its materials against the book.
func (b *Book) CreateSpecification(ctx context.Context, s formulation.Specification, req Request) (Record[formulation.Specification], error) {
	if err := inventory.CheckID(s.ID); err != nil {
		return Record[formulation.Specification]{}, InvalidField("specification_id", "%v", err)
	}
	return createOnce(ctx, b, Tx.Specifications, "specifications", s.ID, s, req, func(ctx context.Context, tx Tx) error {
		return checkSpecification(ctx, tx, s)
	})
}

// GetSpecification reads one specification.
func (b *Book) GetSpecification(ctx context.Context, id string) (Record[formulation.Specification], error) {
	return getOne(ctx, b, Tx.Specifications, id)
}

// ListSpecifications lists specifications by material and archived.
func (b *Book) ListSpecifications(ctx context.Context, q Query) ([]Record[formulation.Specification], error) {
	return listAll(ctx, b, Tx.Specifications, q)
}

// UpdateSpecification replaces a specification; version is the one that was read.
func (b *Book) UpdateSpecification(ctx context.Context, s formulation.Specification, version int64) (Record[formulation.Specification], error) {
	return changeOne(ctx, b, Tx.Specifications, "specifications/"+s.ID, s.ID, version,
		func(Record[formulation.Specification]) (formulation.Specification, error) { return s, nil }, checkSpecification)
}

func checkSpecification(ctx context.Context, tx Tx, s formulation.Specification) error {
	catalogue, err := propertyCatalogue(ctx, tx)
	if err != nil {
		return err
	}
	var bad Invalid
	if strings.TrimSpace(s.Title) == "" {
		bad = append(bad, FieldError{"specification.title", "give the specification a title"})
	}
	if len(s.Limits) == 0 {
		bad = append(bad, FieldError{"specification.limits", "give at least one limit"})
	}
	for _, f := range checkLimits(s.Limits, catalogue) {
		bad = append(bad, FieldError{"specification." + f.Field, f.Problem})
	}
	if len(bad) > 0 {
		return bad
	}
	return checkSpecifiedMaterials(ctx, tx, s)
}

// checkLimits is the solver's own check of limits, which needs some candidate to
// be asked at all.
func checkLimits(limits []formulation.Limit, catalogue *property.Catalogue) formulation.FieldErrors {
	p := formulation.Problem{Quantity: mass.Kilogram, Limits: limits, Catalogue: catalogue,
		Candidates: []formulation.Candidate{{ID: "any", Available: -1}}}
	var bad formulation.FieldErrors
	errors.As(p.Validate(), &bad)
	return bad
}

func checkSpecifiedMaterials(ctx context.Context, tx Tx, s formulation.Specification) error {
	named := map[string]string{}
	if s.Material != "" {
		named["specification.material"] = s.Material
	}
	for i, l := range s.Limits {
		for k, m := range l.Materials {
			named[fmt.Sprintf("specification.limits[%d].materials[%d]", i, k)] = m
		}
	}
	if len(named) == 0 {
		return nil
	}
	known, err := materialsByID(ctx, tx)
	if err != nil {
		return err
	}
	var bad Invalid
	for field, m := range named {
		if _, ok := known[m]; !ok {
			bad = append(bad, FieldError{field, fmt.Sprintf("materials/%s is not in the book", m)})
		}
	}
	slices.SortFunc(bad, func(a, b FieldError) int { return strings.Compare(a.Field, b.Field) })
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// propertyCatalogue is the built-in properties, the plant's own and those that
// only this request knows.
func propertyCatalogue(ctx context.Context, tx Tx, extra ...property.Definition) (*property.Catalogue, error) {
	own, err := tx.Properties().List(ctx, Query{})
	if err != nil {
		return nil, err
	}
	all := make([]property.Definition, 0, len(own)+len(extra))
	for _, r := range own {
		if !r.Value.BuiltIn {
			all = append(all, r.Value)
		}
	}
	return catalogueWith(all, extra)
}

// catalogueWith adds definitions of a request to those of the plant; a bad one is
// a FieldError.
func catalogueWith(own, extra []property.Definition) (*property.Catalogue, error) {
	if len(extra) == 0 {
		return property.NewCatalogue(own...)
	}
	var bad Invalid
	for i, d := range extra {
		if _, err := property.NewCatalogue(append(slices.Clone(own), d)...); err != nil && !needsAnother(d, extra) {
			bad = append(bad, FieldError{fmt.Sprintf("properties[%d]", i), err.Error()})
		}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	c, err := property.NewCatalogue(append(slices.Clone(own), extra...)...)
	if err != nil {
		return nil, InvalidField("properties", "%v", err)
	}
	return c, nil
}

// needsAnother reports whether d blends by a property of the same request.
func needsAnother(d property.Definition, extra []property.Definition) bool {
	return slices.ContainsFunc(extra, func(e property.Definition) bool { return e.Name == d.Basis && e.Name != d.Name })
}

// materialsByID loads every material at once.
func materialsByID(ctx context.Context, tx Tx) (map[string]BookMaterial, error) {
	list, err := tx.Materials().List(ctx, Query{})
	if err != nil {
		return nil, err
	}
	out := make(map[string]BookMaterial, len(list))
	for _, r := range list {
		out[r.Value.ID] = r.Value
	}
	return out, nil
}

// absent turns ErrNotFound into a sentence that names what is not there.
func absent(err error, resource string) error {
	var f *Fault
	if errors.Is(err, ErrNotFound) && !errors.As(err, &f) {
		return Faultf(ErrNotFound, "NOT_FOUND", resource, "%s is not in the book.", resource)
	}
	return err
}

func isNotFound(err error) bool { return errors.Is(err, ErrNotFound) }
