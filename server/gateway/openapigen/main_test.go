package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

const version2 = `{
  "swagger": "2.0",
  "info": {"title": "lot.proto", "version": "version not set"},
  "consumes": ["application/json"],
  "produces": ["application/json"],
  "paths": {
    "/v1/batches/{batche}": {
      "get": {
        "operationId": "BatchService_GetBatch",
        "parameters": [{"name": "batche", "in": "path", "required": true, "type": "string"}],
        "responses": {"200": {"description": "A batch.", "schema": {"$ref": "#/definitions/Batch"}}}
      }
    },
    "/v1/batches": {
      "post": {
        "operationId": "BatchService_CreateBatch",
        "parameters": [{"name": "batch", "in": "body", "required": true, "schema": {"$ref": "#/definitions/Batch"}}],
        "responses": {"200": {"description": "A batch.", "schema": {"$ref": "#/definitions/Batch"}}}
      }
    }
  },
  "definitions": {"Batch": {"type": "object", "properties": {"quantity_kg": {"type": "number", "format": "double"}}}}
}`

func TestConvert(t *testing.T) {
	text, err := convert([]byte(version2))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := openapi3.NewLoader().LoadFromData(text)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(doc.OpenAPI, "3.") {
		t.Errorf("openapi is %q, want version 3", doc.OpenAPI)
	}
	get := doc.Paths.Value("/v1/batches/{batch}")
	if get == nil || get.Get.Parameters.GetByInAndName("path", "batch") == nil {
		t.Errorf("no /v1/batches/{batch} with its parameter in %s", text)
	}
	body := doc.Paths.Value("/v1/batches").Post.RequestBody
	if body == nil || body.Value.Content["application/json"].Schema.Ref != "#/components/schemas/Batch" {
		t.Errorf("the request body is not a Batch: %+v", body)
	}
	if doc.Components.Schemas["Batch"].Value.Properties["quantity_kg"] == nil {
		t.Error("Batch has lost quantity_kg: fields keep their proto names")
	}
	if scheme := doc.Components.SecuritySchemes["api_key"]; scheme == nil || scheme.Value.Scheme != "bearer" || len(doc.Security) != 1 {
		t.Error("the API key is not asked for")
	}
	again, err := convert([]byte(version2))
	if err != nil || !bytes.Equal(text, again) {
		t.Errorf("the same input gave other bytes (error %v)", err)
	}
}

func TestConvertRefuses(t *testing.T) {
	for _, c := range []struct{ name, input, want string }{
		{"no JSON", `paths:`, "not an OpenAPI 2 document"},
		{"version 3", `{"openapi": "3.0.3", "paths": {}}`, `"swagger" is ""`},
		{"parameter that the path lacks", strings.Replace(version2, "/{batche}", "/all", 1), "not valid"},
		{"dangling reference", strings.ReplaceAll(version2, `"Batch": {`, `"Other": {`), "cannot be converted"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, err := convert([]byte(c.input))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %s, error %v, want an error with %q", text, err, c.want)
			}
		})
	}
}

func TestSingular(t *testing.T) {
	for cut, want := range map[string]string{
		"batche": "batch", "propertie": "property", "lot": "lot", "purchaseOrder": "purchaseOrder", "boxe": "box", "purchase": "purchase", "expense": "expense",
	} {
		if got := singular(cut); got != want {
			t.Errorf("singular(%q) = %q, want %q", cut, got, want)
		}
	}
}

func TestRun(t *testing.T) {
	folder := t.TempDir()
	in, out := filepath.Join(folder, "in.json"), filepath.Join(folder, "out.json")
	if err := run("", out); err == nil || !strings.Contains(err.Error(), "-in") {
		t.Errorf("without -in: got error %v, want one that names -in", err)
	}
	if err := run(in, out); err == nil {
		t.Error("a missing input was accepted")
	}
	if err := os.WriteFile(in, []byte(version2), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := run(in, out); err != nil {
		t.Fatal(err)
	}
	doc, err := openapi3.NewLoader().LoadFromFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Error(err)
	}
}
