package solver

// String names the reason in plain words.
func (s Stop) String() string {
	switch s {
	case StopOptimal:
		return "optimal"
	case StopInfeasible:
		return "infeasible"
	case StopUnbounded:
		return "unbounded"
	case StopLimit:
		return "stopped at a limit"
	case StopCancelled:
		return "cancelled"
	case StopNumerical:
		return "stopped on numerical grounds"
	}
	return "unknown"
}

// String names the state in plain words.
func (p PointStatus) String() string {
	switch p {
	case FeasiblePoint:
		return "feasible point"
	case InfeasiblePoint:
		return "infeasible point"
	case Ray:
		return "ray"
	}
	return "no point"
}

// String names the place in plain words.
func (v VarStatus) String() string {
	switch v {
	case Free:
		return "free"
	case Basic:
		return "basic"
	case AtUpper:
		return "at upper bound"
	case AtLower:
		return "at lower bound"
	case Superbasic:
		return "superbasic"
	case Fixed:
		return "fixed"
	}
	return "unknown"
}

// String names the kind in plain words.
func (k Kind) String() string {
	if k == Integer {
		return "integer"
	}
	return "continuous"
}
