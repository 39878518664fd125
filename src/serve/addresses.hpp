// Where a machine is in its local network.
#pragma once

#include <string>
#include <vector>

namespace nocktrail::serve {

// IPv4 addresses of this machine that are of a private network (RFC 1918, RFC 3927 link-local,
// RFC 6598 shared), those of real devices before those of bridges between virtual machines. Where
// there are none, such as in a university's network, the others that it has.
struct LocalAddresses {
  std::vector<std::string> all;
  bool are_private = true;
};
LocalAddresses local_addresses();

// Whether an IPv4 address in host order is of such a network.
bool is_private(unsigned long address);

}  // namespace nocktrail::serve
