package formulation

// Specification is what an ink has to be: its limits, by name.
type Specification struct {
	ID       string
	Title    string
	Material string // id of the material that it describes; may be empty
	Limits   []Limit
	Note     string
	Archived bool
}
