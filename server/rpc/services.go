package rpc

import (
	"google.golang.org/grpc"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// Register puts every service of the book on a server, or on the gateway's
// in-process channel.
func Register(on grpc.ServiceRegistrar, book *app.Book) {
	pb.RegisterMaterialServiceServer(on, &materialService{book: book})
	pb.RegisterSupplierServiceServer(on, &supplierService{book: book})
	pb.RegisterLotServiceServer(on, &lotService{book: book})
	pb.RegisterLotTestServiceServer(on, &lotTestService{book: book})
	pb.RegisterLedgerServiceServer(on, &ledgerService{book: book})
	pb.RegisterPlantServiceServer(on, &plantService{book: book})
	pb.RegisterSpecificationServiceServer(on, NewSpecificationServer(book))
	pb.RegisterOptimiserServiceServer(on, NewOptimiserServer(book))
	pb.RegisterFormulaServiceServer(on, NewFormulaServer(book))
	pb.RegisterRepricingServiceServer(on, &repricingService{book: book})
	pb.RegisterOperationServiceServer(on, &operationService{book: book})
	pb.RegisterBatchServiceServer(on, NewBatchServer(book))
	pb.RegisterPurchasingServiceServer(on, NewPurchasingServer(book))
	pb.RegisterPlanServiceServer(on, &planService{book: book})
	pb.RegisterQuoteServiceServer(on, NewQuoteServer(book))
	pb.RegisterCorrectionServiceServer(on, NewCorrectionServer(book))
	pb.RegisterShadeServiceServer(on, NewShadeServer(book))
	pb.RegisterColourServiceServer(on, &colourService{book: book})
	pb.RegisterStudyServiceServer(on, NewStudyServer(book))
	pb.RegisterLeadTimeServiceServer(on, NewLeadTimeServer(book))
}
