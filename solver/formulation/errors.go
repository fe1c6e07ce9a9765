package formulation

import (
	"errors"
	"strings"
)

// FieldError says what is wrong with one field of a Problem.
type FieldError struct {
	Field   string // "limits[2].upper", "candidates[7].cost_per_kg"
	Problem string // a sentence that says what to change
}

// Error implements error.
func (e FieldError) Error() string { return e.Field + ": " + e.Problem }

// FieldErrors is every fault found in a Problem, at least one.
type FieldErrors []FieldError

// Error implements error.
func (e FieldErrors) Error() string {
	var b strings.Builder
	for i, f := range e {
		if i > 0 {
			b.WriteString("; ")
		}
		if i == 5 && len(e) > 6 {
			b.WriteString("and more")
			break
		}
		b.WriteString(f.Error())
	}
	return b.String()
}

// ErrNumerical is returned when the solver gave no answer that could be
// trusted: figures of very different size side by side, usually a slipped unit.
var ErrNumerical = errors.New("the solver found no answer that passes its check; look for figures of very different size side by side, such as a slipped unit")
