package formulation

// Ratios are the limits of a problem as what they are to a linear program: ratios
// of two blends, each linear in the masses. A limit i is met by masses x, in kg per
// candidate, when
//
//	Lower[i] * sum(Den[i][j]*x[j]) <= sum(Num[i][j]*x[j]) <= Upper[i] * sum(Den[i][j]*x[j])
type Ratios struct {
	Num, Den     [][]float64 // per limit, per candidate
	Lower, Upper []float64   // per limit; -Inf and +Inf do not bind
	// Missing is, per candidate, the value that a limit needs and that it lacks;
	// empty for one that can take part.
	Missing []string
}

// NewRatios works the limits of p out for its candidates at their nominal values.
// Quantity, stock, goals and weighing play no part. Errors are FieldErrors.
func NewRatios(p *Problem) (*Ratios, error) {
	v := validator{p: p}
	if p.Catalogue == nil {
		return nil, FieldErrors{{"catalogue", "give the catalogue of properties"}}
	}
	v.limits()
	v.candidates()
	if len(v.errs) > 0 {
		return nil, v.errs
	}
	n, m := len(p.Candidates), len(p.Limits)
	r := &Ratios{Num: make([][]float64, m), Den: make([][]float64, m), Lower: make([]float64, m), Upper: make([]float64, m), Missing: make([]string, n)}
	terms := make([]term, m)
	var wanted wants
	for i := range terms {
		terms[i] = newTerm(&p.Limits[i], p)
		wanted.add(&terms[i])
		r.Num[i], r.Den[i] = make([]float64, n), make([]float64, n)
		r.Lower[i], r.Upper[i] = terms[i].lower, terms[i].upper
	}
	for j := range p.Candidates {
		of := wanted.of(&p.Candidates[j])
		for i := range terms {
			num, den, missing := terms[i].at(&of)
			if missing != "" {
				r.Missing[j] = missing
				break
			}
			r.Num[i][j], r.Den[i][j] = num, den
		}
	}
	return r, nil
}
