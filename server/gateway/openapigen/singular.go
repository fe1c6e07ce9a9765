package main

import (
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// nameParameters gives the variables of the paths their English names. The
// generator names the variable of /v1/{name=batches/*} by cutting the "s" off,
// which leaves {batche} and {propertie}.
func nameParameters(doc *openapi3.T) {
	for path, item := range doc.Paths.Map() {
		renamed := path
		for _, operation := range item.Operations() {
			for _, ref := range operation.Parameters {
				parameter := ref.Value
				if parameter == nil || parameter.In != openapi3.ParameterInPath {
					continue
				}
				old := parameter.Name
				parameter.Name = singular(old)
				renamed = strings.ReplaceAll(renamed, "{"+old+"}", "{"+parameter.Name+"}")
			}
		}
		if renamed != path {
			doc.Paths.Delete(path)
			doc.Paths.Set(renamed, item)
		}
	}
}

// singular mends a plural whose "s" has been cut off.
func singular(cut string) string {
	if word, found := strings.CutSuffix(cut, "ie"); found {
		return word + "y"
	}
	for _, ending := range []string{"che", "she", "sse", "xe"} {
		if strings.HasSuffix(cut, ending) {
			return strings.TrimSuffix(cut, "e")
		}
	}
	return cut
}
