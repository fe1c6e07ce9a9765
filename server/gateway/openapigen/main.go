package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"

	"github.com/getkin/kin-openapi/openapi2"
	"github.com/getkin/kin-openapi/openapi2conv"
	"github.com/getkin/kin-openapi/openapi3"
)

func main() {
	in := flag.String("in", "", "the OpenAPI 2 document to read")
	out := flag.String("out", "", "the OpenAPI 3 document to write")
	flag.Parse()
	if err := run(*in, *out); err != nil {
		fmt.Fprintln(os.Stderr, "openapigen:", err)
		os.Exit(1)
	}
}

func run(in, out string) error {
	if in == "" || out == "" {
		return errors.New("say which file to read with -in and which to write with -out")
	}
	v2, err := os.ReadFile(in)
	if err != nil {
		return err
	}
	v3, err := convert(v2)
	if err != nil {
		return fmt.Errorf("%s: %w", in, err)
	}
	return os.WriteFile(out, v3, 0o644)
}

// convert returns the OpenAPI 3 document for an OpenAPI 2 document, both JSON.
// It fails when the input is not OpenAPI 2, or when the result would not be
// valid OpenAPI 3.
func convert(v2 []byte) ([]byte, error) {
	var from openapi2.T
	if err := json.Unmarshal(v2, &from); err != nil {
		return nil, fmt.Errorf("not an OpenAPI 2 document: %w", err)
	}
	if !strings.HasPrefix(from.Swagger, "2.") {
		return nil, fmt.Errorf(`not an OpenAPI 2 document: "swagger" is %q`, from.Swagger)
	}
	doc, err := openapi2conv.ToV3(&from)
	if err != nil {
		return nil, fmt.Errorf("cannot be converted to OpenAPI 3: %w", err)
	}
	describe(doc)
	nameParameters(doc)
	return encode(doc)
}

// describe adds what the .proto files do not say.
func describe(doc *openapi3.T) {
	doc.Info = &openapi3.Info{
		Title: "Millbase",
		Description: "The raw-material book and formula optimiser of a printing-ink plant.\n\n" +
			"Masses are kilograms with at most six decimals (whole milligrams). Money is google.type.Money: " +
			"whole units and billionths. Errors are google.rpc.Status with a sentence that says what to change.",
		Version: "v1",
		License: &openapi3.License{Name: "Apache-2.0"},
	}
	doc.Servers = openapi3.Servers{{URL: "/", Description: "the server that this document came from"}}
	const scheme = "api_key"
	if doc.Components == nil {
		doc.Components = &openapi3.Components{}
	}
	doc.Components.SecuritySchemes = openapi3.SecuritySchemes{scheme: &openapi3.SecuritySchemeRef{
		Value: openapi3.NewSecurityScheme().WithType("http").WithScheme("bearer").
			WithDescription("An API key: `Authorization: Bearer KEY`. Its role decides which methods it may call."),
	}}
	doc.Security = openapi3.SecurityRequirements{openapi3.NewSecurityRequirement().Authenticate(scheme)}
}

// encode writes the document as indented JSON with sorted keys, reads it back
// as a stranger would, and validates what it read.
func encode(doc *openapi3.T) ([]byte, error) {
	plain, err := doc.MarshalJSON()
	if err != nil {
		return nil, err
	}
	var sorted any
	if err := json.Unmarshal(plain, &sorted); err != nil {
		return nil, err
	}
	text, err := json.MarshalIndent(sorted, "", "  ")
	if err != nil {
		return nil, err
	}
	text = append(text, '\n')
	loader := openapi3.NewLoader()
	read, err := loader.LoadFromData(text)
	if err != nil {
		return nil, fmt.Errorf("the OpenAPI 3 document does not load: %w", err)
	}
	if err := read.Validate(context.Background()); err != nil {
		return nil, fmt.Errorf("the OpenAPI 3 document is not valid: %w", err)
	}
	return text, nil
}
