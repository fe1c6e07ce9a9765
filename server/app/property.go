package app

import (
	"context"
	"strings"

	"millbase/inventory/property"
)

func propertiesOf(tx Tx) Repo[property.Definition] { return tx.Properties() }

// CreateProperty adds a property of the plant's own to the catalogue.
func (b *Book) CreateProperty(ctx context.Context, d property.Definition, req Request) (Record[property.Definition], error) {
	d.BuiltIn = false
	if _, known := property.BuiltIn().Property(d.Name); known {
		return Record[property.Definition]{}, Faultf(ErrExists, "ALREADY_EXISTS", "properties/"+d.Name, "properties/%s is built in; choose another id.", d.Name)
	}
	return createOnce(ctx, b, propertiesOf, "properties", d.Name, d, req, func(ctx context.Context, tx Tx) error {
		catalogue, err := propertyCatalogue(ctx, tx)
		if err != nil {
			return err
		}
		if _, known := catalogue.Property(d.Name); known {
			return taken(ErrExists, "properties/"+d.Name)
		}
		if err := d.Check(catalogue); err != nil {
			return InvalidField("property", "%s", err)
		}
		return nil
	})
}

// Property reads one definition, built-in or the plant's own.
func (b *Book) Property(ctx context.Context, name string) (Record[property.Definition], error) {
	if d, ok := property.BuiltIn().Property(name); ok {
		return Record[property.Definition]{Value: d, Version: 1}, nil
	}
	return getOne(ctx, b, propertiesOf, name)
}

// Properties lists the catalogue in the order of names, the built-in ones
// included.
func (b *Book) Properties(ctx context.Context, q Query) ([]Record[property.Definition], error) {
	own, err := listAll(ctx, b, propertiesOf, Query{})
	if err != nil {
		return nil, err
	}
	byName := map[string]Record[property.Definition]{}
	for _, d := range property.BuiltIn().All() {
		byName[d.Name] = Record[property.Definition]{Value: d, Version: 1}
	}
	for _, r := range own {
		byName[r.Value.Name] = r
	}
	var out []Record[property.Definition]
	for _, name := range sortedKeys(byName) {
		if strings.Compare(name, q.After) > 0 {
			out = append(out, byName[name])
		}
	}
	if q.Limit > 0 && len(out) > q.Limit {
		out = out[:q.Limit]
	}
	return out, nil
}
