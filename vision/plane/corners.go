package plane

// CornerMisfits is, for each corner of the card in the order of the problem,
// the place where it was seen less the adjusted one, px.
func (s *Solution) CornerMisfits() [][2]float64 {
	out := make([][2]float64, len(s.problem.Corners))
	place := onRoof(&s.Params)
	for i, c := range s.problem.Corners {
		u, v := s.Frame.Project(place(c.X, c.Y))
		out[i] = [2]float64{c.U - u, c.V - v}
	}
	return out
}
