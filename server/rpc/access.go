package rpc

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// access says which roles may call each method, as the .proto files declare it.
// A method that is not in it is refused to everyone.
type access map[string][]app.Role

// newAccess reads the access option of every method of this API.
func newAccess() (access, error) {
	out := access{}
	var err error
	protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				if err == nil {
					err = out.add(methods.Get(j))
				}
			}
		}
		return err == nil
	})
	return out, err
}

func (a access) add(method protoreflect.MethodDescriptor) error {
	option, ok := proto.GetExtension(method.Options(), pb.E_Access).(*pb.Access)
	if !ok || len(option.GetRoles()) == 0 {
		return fmt.Errorf("%s does not say who may call it: add option (millbase.v1.access) to it", method.FullName())
	}
	roles := []app.Role{}
	for _, role := range option.GetRoles() {
		if word(role) == "" {
			return fmt.Errorf("%s lets in a role that does not exist: %s", method.FullName(), role)
		}
		roles = append(roles, app.Role(word(role)))
	}
	a[fmt.Sprintf("/%s/%s", method.Parent().FullName(), method.Name())] = roles
	return nil
}

func (a access) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if open(info.FullMethod) {
		return handler(ctx, req)
	}
	role := app.CallerOf(ctx).Role
	roles, declared := a[info.FullMethod]
	if declared && role != "" && (role == app.Admin || slices.Contains(roles, role)) {
		return handler(ctx, req)
	}
	return nil, detailed(codes.PermissionDenied, refusal(role, roles),
		&errdetails.ErrorInfo{Domain: domain, Reason: "ROLE_NOT_ALLOWED"})
}

func refusal(role app.Role, roles []app.Role) string {
	if len(roles) == 0 {
		return "Nobody may call this method."
	}
	names := make([]string, 0, len(roles))
	for _, r := range roles {
		if r != app.Admin {
			names = append(names, title(r))
		}
	}
	names = append(names, title(app.Admin))
	return fmt.Sprintf("Your key has the role %s, which may not do this; use a key of one of: %s.", title(role), strings.Join(names, ", "))
}

func title(r app.Role) string { return strings.ReplaceAll(string(r), "_", " ") }
