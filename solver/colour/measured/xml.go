package measured

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strconv"
	"strings"

	"millbase/solver/colour"
)

// The elements of a CxF3 file (ISO 17972-1) that matter here.
type (
	spectrum struct {
		Specification string `xml:"ColorSpecification,attr"`
		Start         string `xml:"StartWL,attr"`
		Increment     string `xml:"Increment,attr"`
		Text          string `xml:",chardata"`
	}
	cielab struct {
		L float64 `xml:"L"`
		A float64 `xml:"A"`
		B float64 `xml:"B"`
	}
	object struct {
		Name    string     `xml:"Name,attr"`
		ID      string     `xml:"Id,attr"`
		Spectra []spectrum `xml:"ColorValues>ReflectanceSpectrum"`
		Labs    []cielab   `xml:"ColorValues>ColorCIELab"`
		line    int
	}
	specification struct {
		ID    string `xml:"Id,attr"`
		Range struct {
			Start     string `xml:"StartWL,attr"`
			Increment string `xml:"Increment,attr"`
		} `xml:"MeasurementSpec>WavelengthRange"`
	}
)

func readXML(text []byte) ([]Sample, error) {
	objects, specifications, err := elements(text)
	if err != nil {
		return nil, err
	}
	var samples []Sample
	for _, o := range objects {
		s := Sample{Name: o.Name, Line: o.line}
		if s.Name == "" {
			s.Name = o.ID
		}
		if len(o.Labs) > 0 {
			s.Lab = &colour.Lab{L: o.Labs[0].L, A: o.Labs[0].A, B: o.Labs[0].B}
		}
		if len(o.Spectra) > 0 {
			if s.Curve, err = o.Spectra[0].curve(specifications, o.line); err != nil {
				return nil, err
			}
		}
		if s.Curve != nil || s.Lab != nil { // an object may hold something else
			samples = append(samples, s)
		}
	}
	return samples, nil
}

// elements finds objects and specifications wherever they stand.
func elements(text []byte) (objects []object, specifications map[string]specification, err error) {
	d := xml.NewDecoder(bytes.NewReader(text))
	specifications = map[string]specification{}
	root := true
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return objects, specifications, nil
		}
		line, _ := d.InputPos()
		if err != nil {
			return nil, nil, fault(err, line)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if root && start.Name.Local != "CxF" {
			return nil, nil, errorf(line, "this is XML, but no CxF: its first element is %.60q", start.Name.Local)
		}
		root = false
		switch start.Name.Local {
		case "Object":
			o := object{line: line}
			if err := d.DecodeElement(&o, &start); err != nil {
				return nil, nil, fault(err, line)
			}
			if objects = append(objects, o); len(objects) > maxSamples {
				return nil, nil, errorf(line, "more than %d measurements; split the file", maxSamples)
			}
		case "ColorSpecification":
			var s specification
			if err := d.DecodeElement(&s, &start); err != nil {
				return nil, nil, fault(err, line)
			}
			specifications[s.ID] = s
		}
	}
}

func fault(err error, line int) error {
	var syntax *xml.SyntaxError
	if errors.As(err, &syntax) {
		return errorf(syntax.Line, "%s", syntax.Msg)
	}
	return errorf(line, "%v", err)
}

// curve is the spectrum on the grid that it names itself, or that its
// specification names.
func (s *spectrum) curve(of map[string]specification, line int) (*colour.Curve, error) {
	start, increment := s.Start, s.Increment
	if named, ok := of[s.Specification]; ok {
		if start == "" {
			start = named.Range.Start
		}
		if increment == "" {
			increment = named.Range.Increment
		}
	}
	c := &colour.Curve{}
	for _, place := range []struct {
		what, text string
		to         *int
	}{{"StartWL", start, &c.First}, {"Increment", increment, &c.Step}} {
		v, err := strconv.ParseFloat(place.text, 64)
		if err != nil || v != float64(int(v)) {
			return nil, errorf(line, "the %s of the spectrum is %.40q; whole nanometres are needed, there or in its ColorSpecification", place.what, place.text)
		}
		*place.to = int(v)
	}
	for field := range strings.FieldsSeq(s.Text) {
		v, err := figure(field, line)
		if err != nil {
			return nil, err
		}
		c.Values = append(c.Values, v)
	}
	return c, nil
}
