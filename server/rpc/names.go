package rpc

import (
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// The collections that resources are named in.
const (
	properties     = "properties"
	materials      = "materials"
	suppliers      = "suppliers"
	lots           = "lots"
	movements      = "movements"
	reservations   = "reservations"
	specifications = "specifications"
	formulas       = "formulas" // id may carry the revision: "cyan@3"
	batches        = "batches"
	purchaseOrders = "purchaseOrders"
	quotes         = "quotes"
	keys           = "keys"
	substrates     = "substrates"
	plans          = "plans"

	characterisations = "characterisations"
	operations        = "operations"
)

// nameOf is the resource name of an id; an empty id has an empty name.
func nameOf(collection, id string) string {
	if id == "" {
		return ""
	}
	return collection + "/" + id
}

// id reads a resource name that must be given: "lots/l-1" is l-1.
func (f *fields) id(field, name, collection string) string {
	if name == "" {
		f.add(field, "must be given, as %s/...", collection)
		return ""
	}
	return f.optionalID(field, name, collection)
}

// optionalID reads a resource name; empty is empty.
func (f *fields) optionalID(field, name, collection string) string {
	if name == "" {
		return ""
	}
	id, ok := strings.CutPrefix(name, collection+"/")
	if !ok || id == "" || strings.Contains(id, "/") {
		f.add(field, "%.80q does not name one of the %s; write it like %s/...", name, collection, collection)
		return ""
	}
	return id
}

// child reads a name of two levels, "suppliers/a/offers/b", as a and b.
func (f *fields) child(field, name, collection, inner string) (parent, id string) {
	parts := strings.Split(name, "/")
	if len(parts) != 4 || parts[0] != collection || parts[2] != inner || parts[1] == "" || parts[3] == "" {
		f.add(field, "%.120q does not name one of the %s; write it like %s/.../%s/...", name, inner, collection, inner)
		return "", ""
	}
	return parts[1], parts[3]
}

// word is the domain's word for an enum value: MATERIAL_CLASS_BASE_INK is
// "base_ink". UNSPECIFIED and numbers without a name are "".
func word(e protoreflect.Enum) string {
	value := e.Descriptor().Values().ByNumber(e.Number())
	if value == nil || e.Number() == 0 {
		return ""
	}
	return strings.ToLower(strings.TrimPrefix(string(value.Name()), prefix(e.Descriptor())))
}

// prefix of an enum's values: that of its zero value without UNSPECIFIED.
func prefix(d protoreflect.EnumDescriptor) string {
	return strings.TrimSuffix(string(d.Values().ByNumber(0).Name()), "UNSPECIFIED")
}

// enum is the inverse of word; an unknown word is UNSPECIFIED.
func enum[E interface {
	~int32
	protoreflect.Enum
}](w string) E {
	var zero E
	d := zero.Descriptor()
	value := d.Values().ByName(protoreflect.Name(prefix(d) + strings.ToUpper(w)))
	if value == nil {
		return zero
	}
	return E(value.Number())
}
