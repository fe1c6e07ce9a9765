// Package servertest starts a whole server for a test: a fresh database, gRPC
// and REST on free ports, and a key for each role.
//
//	func TestMain(m *testing.M) { pgtest.Main(m) }
//
//	func TestLots(t *testing.T) {
//		s := servertest.Start(t)
//		lots := pb.NewLotServiceClient(s.As(app.Quality))
//		answer := s.REST(app.Floor, "GET", "/v1/lots", nil)
package servertest
