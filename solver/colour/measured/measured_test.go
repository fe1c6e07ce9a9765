package measured

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver/colour"
)

// The three files hold the same two patches.
const keywords = `CGATS.17
ORIGINATOR	"a test"   # nobody
NUMBER_OF_FIELDS	40
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B %s
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 "deep blue" 30 10 -40 %s
2 paper 92.5 0 -1 %s
END_DATA
`

func values(from, step float64) (out []float64) {
	for i := range 36 {
		out = append(out, from+step*float64(i))
	}
	return out
}

func joined[T any](list []T, format, separator string) string {
	var out []string
	for _, v := range list {
		out = append(out, fmt.Sprintf(format, v))
	}
	return strings.Join(out, separator)
}

func nanometres() (out []int) {
	for nm := 380; nm <= 730; nm += 10 {
		out = append(out, nm)
	}
	return out
}

func files() map[string]string {
	blue, paper := values(0.05, 0.002), values(0.8, 0.003)
	percent := func(v []float64) (out []float64) {
		for _, x := range v {
			out = append(out, 100*x)
		}
		return out
	}
	row := func(name, lab string, v []float64) string {
		return name + ";" + lab + ";" + joined(v, "%g", ";") + "\n"
	}
	return map[string]string{
		"keywords": fmt.Sprintf(keywords, joined(nanometres(), "SPECTRAL_NM%d", "\t"), joined(blue, "%g", " "), joined(paper, "%g", " ")),
		"percent":  fmt.Sprintf(keywords, joined(nanometres(), "SPECTRAL_%d", "\t"), joined(percent(blue), "%g", " "), joined(percent(paper), "%g", " ")),
		"csv": "\xef\xbb\xbfName;L*;a*;b*;" + joined(nanometres(), "%d", ";") + "\r\n" +
			row("deep blue", "30;10;-40", blue) + "\n" + row("paper", "92.5;0;-1", paper),
		"xml": `<?xml version="1.0"?><cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources><cc:ObjectCollection>
<cc:Object ObjectType="Target" Name="deep blue" Id="1"><cc:ColorValues><cc:ReflectanceSpectrum ColorSpecification="m0">` + joined(blue, "%g", " ") +
			`</cc:ReflectanceSpectrum><cc:ColorCIELab><cc:L>30</cc:L><cc:A>10</cc:A><cc:B>-40</cc:B></cc:ColorCIELab></cc:ColorValues></cc:Object>
<cc:Object ObjectType="Target" Name="paper" Id="2"><cc:ColorValues><cc:ReflectanceSpectrum StartWL="380" Increment="10">` + joined(paper, "%g", "\n") +
			`</cc:ReflectanceSpectrum><cc:ColorCIELab><cc:L>92.5</cc:L><cc:A>0</cc:A><cc:B>-1</cc:B></cc:ColorCIELab></cc:ColorValues></cc:Object>
<cc:Object ObjectType="Note" Name="no colour" Id="3"/></cc:ObjectCollection>
<cc:ColorSpecificationCollection><cc:ColorSpecification Id="m0"><cc:MeasurementSpec><cc:WavelengthRange StartWL="380" Increment="10"/></cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>
</cc:Resources></cc:CxF>`,
	}
}

func TestFormatsAgree(t *testing.T) {
	for name, text := range files() {
		got, err := Read(strings.NewReader(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if len(got) != 2 || got[0].Name != "deep blue" || got[1].Name != "paper" {
			t.Errorf("%s: %+v", name, got)
			continue
		}
		for k, want := range [][]float64{values(0.05, 0.002), values(0.8, 0.003)} {
			c := got[k].Curve
			if c == nil || c.First != 380 || c.Step != 10 || len(c.Values) != 36 || got[k].Line == 0 {
				t.Fatalf("%s: %+v", name, c)
			}
			for i := range want {
				if math.Abs(c.Values[i]-want[i]) > 1e-12 {
					t.Fatalf("%s: %g at %d, want %g", name, c.Values[i], i, want[i])
				}
			}
		}
		if *got[0].Lab != (colour.Lab{L: 30, A: 10, B: -40}) || *got[1].Lab != (colour.Lab{L: 92.5, A: 0, B: -1}) {
			t.Errorf("%s: %v %v", name, got[0].Lab, got[1].Lab)
		}
	}
}

// What is spoiled is refused with its line and a reason.
func TestMalformed(t *testing.T) {
	f := files()
	spoil := func(file, old, by string) string {
		if !strings.Contains(f[file], old) {
			t.Fatalf("%s has no %q", file, old)
		}
		return strings.Replace(f[file], old, by, 1)
	}
	for _, c := range []struct {
		text string
		line int
		want string
	}{
		{"", 0, "empty"},
		{" \n ", 0, "empty"},
		{"a,b\n1,2\n", 1, "no column is headed by a wavelength"},
		{"name,380,390,410\nx,1,1,1\n", 1, "not evenly spaced: 380, 390, then 410"},
		{"name,380\nx,1\n", 1, "one wavelength only"},
		{"name,380,380\nx,1,1\n", 1, "380 nm stands there twice"},
		{"name,L,a,b\n", 0, "holds no measurement"},
		{"name,L,a,b\nx,1,2\n", 2, "3 values, where the head at line 1 has 4"},
		{"name,L,a,b\nx,1,2,3\ny,1,\"2,5\",3\n", 3, "\"2,5\" is not a number"},
		{"name,L,a,b\nx,1,2,NaN\n", 2, "is not a number"},
		{spoil("csv", "deep blue;30;", "\"deep blue;30;"), 4, "quote"},
		{spoil("keywords", "NUMBER_OF_SETS 2", "NUMBER_OF_SETS 3"), 11, "NUMBER_OF_SETS says 3, there are 2"},
		{spoil("keywords", "NUMBER_OF_SETS 2", "NUMBER_OF_SETS two"), 7, "not a number of measurements"},
		{spoil("keywords", "\nEND_DATA\n", "\n"), 10, "END_DATA is missing (BEGIN_DATA stands at line 8)"},
		{spoil("keywords", "BEGIN_DATA_FORMAT", "COMMENT"), 6, "END_DATA_FORMAT comes before"},
		{spoil("keywords", "92.5 0 -1", "92.5 0"), 10, "40 values, where the head at line 4 has 41"},
		{spoil("keywords", "92.5 0 -1", "92.5 0 x"), 10, "\"x\" is not a number"},
		{spoil("keywords", "92.5 0 -1 0.8 ", "92.5 0 -1 -0.8 "), 10, "the reflectance at 380 nm is -0.8"},
		{spoil("xml", "</cc:Resources>", ""), 41, "element"},
		{"<html></html>", 1, "no CxF"},
		{spoil("xml", `Increment="10"/>`, `Increment="ten"/>`), 2, "Increment of the spectrum is \"ten\""},
		{spoil("xml", `StartWL="380" Increment="10">`, `StartWL="383" Increment="10">`), 3, "begins at a multiple of 10 nm"},
	} {
		_, err := Read(strings.NewReader(c.text))
		var at *Error
		if !errors.As(err, &at) || at.Line != c.line || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.60q: got %v, want line %d, %q", c.text, err, c.line, c.want)
		}
	}
}

// What is written as a table comes back, whatever its numbers.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.SampledFrom([]int{10, 20}).Draw(t, "step")
		c := colour.Curve{First: 400, Step: step, Values: rapid.SliceOfN(rapid.Float64Range(0, 1.5), 300/step+1, 330/step).Draw(t, "values")}
		name := rapid.StringMatching(`[a-z]+( [a-z]+)?`).Draw(t, "name")
		var heads []string
		for i := range c.Values {
			heads = append(heads, fmt.Sprintf("%d", c.First+i*step))
		}
		got, err := Read(strings.NewReader("name," + strings.Join(heads, ",") + "\n" + name + "," + joined(c.Values, "%v", ",") + "\n"))
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != 1 || got[0].Name != name || !got[0].Curve.SameGrid(c) {
			t.Fatalf("%+v", got)
		}
		for i, v := range c.Values {
			if got[0].Curve.Values[i] != v {
				t.Fatalf("%g came back as %g", v, got[0].Curve.Values[i])
			}
		}
	})
}

func FuzzRead(f *testing.F) {
	for _, text := range files() {
		f.Add([]byte(text))
	}
	f.Add([]byte("BEGIN_DATA_FORMAT\n\"\nEND_DATA_FORMAT\nBEGIN_DATA"))
	f.Fuzz(func(t *testing.T, text []byte) {
		samples, err := Read(strings.NewReader(string(text)))
		var at *Error
		if err != nil {
			if !errors.As(err, &at) || at.Reason == "" {
				t.Fatalf("an error without a reason: %v", err)
			}
			return
		}
		for _, s := range samples {
			if s.Curve == nil && s.Lab == nil {
				t.Fatal("a sample without a value")
			}
			if s.Curve != nil && s.Curve.Validate() != nil {
				t.Fatal(s.Curve.Validate())
			}
		}
	})
}
