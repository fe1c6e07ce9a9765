package rpc

import (
	"slices"
	"strings"

	"go.einride.tech/aip/fieldbehavior"
	"go.einride.tech/aip/fieldmask"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"millbase/server/app"
)

// applyMask lays the masked fields of patch over current, in place. Without a
// mask every field of patch that is set is taken, with "*" every field. Fields
// that only the server sets, the name and the etag are left as they are,
// whatever the mask says (AIP-203). The result must meet the rules of the .proto
// files; within is the resource's field in the request, for the error.
func applyMask[M proto.Message](within string, mask *fieldmaskpb.FieldMask, current, patch M) error {
	if path, ok := intoCollection(mask, patch.ProtoReflect().Descriptor()); ok {
		return app.InvalidField("update_mask", "%.80q reaches into a map or a list; name the whole field and send all of it", path)
	}
	if err := fieldmask.Validate(mask, patch); err != nil {
		return app.InvalidField("update_mask", "invalid: it must name fields as they stand in the resource, such as title, or be \"*\" alone; got %.200s", strings.Join(mask.GetPaths(), ", "))
	}
	patch = proto.Clone(patch).(M)
	fixed := fixedFields(patch.ProtoReflect().Descriptor())
	kept := &fieldmaskpb.FieldMask{}
	for _, path := range mask.GetPaths() {
		first, _, _ := strings.Cut(path, ".")
		if !slices.Contains(fixed, first) {
			kept.Paths = append(kept.Paths, path)
		}
	}
	if len(mask.GetPaths()) > 0 && len(kept.Paths) == 0 {
		return nil
	}
	for _, name := range fixed {
		from, to := current.ProtoReflect(), patch.ProtoReflect()
		field := to.Descriptor().Fields().ByName(protoreflect.Name(name))
		if from.Has(field) {
			to.Set(field, from.Get(field))
		} else {
			to.Clear(field)
		}
	}
	fieldmask.Update(kept, current, patch)
	return requestRules.check(current, within+".")
}

// intoCollection finds a path to one entry of a map or a list, which a mask
// can't name.
func intoCollection(mask *fieldmaskpb.FieldMask, d protoreflect.MessageDescriptor) (string, bool) {
	for _, path := range mask.GetPaths() {
		within := d
		parts := strings.Split(path, ".")
		for _, part := range parts[:len(parts)-1] {
			field := within.Fields().ByName(protoreflect.Name(part))
			if field == nil {
				break
			}
			if field.IsMap() || field.IsList() || field.Message() == nil {
				return path, true
			}
			within = field.Message()
		}
	}
	return "", false
}

// fixedFields are those that an update never changes.
func fixedFields(d protoreflect.MessageDescriptor) []string {
	out := []string{}
	for i := range d.Fields().Len() {
		field := d.Fields().Get(i)
		if field.Name() == "etag" || fieldbehavior.Has(field, annotations.FieldBehavior_OUTPUT_ONLY) ||
			fieldbehavior.Has(field, annotations.FieldBehavior_IDENTIFIER) {
			out = append(out, string(field.Name()))
		}
	}
	return out
}
