// Who is let in: what a request must carry before anything is said to it.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace nocktrail::serve {

// Of a request, what the gate looks at; empty where it is not there.
struct Presented {
  bool get = false;         // else it changes something
  std::string_view host;    // header Host
  std::string_view origin;  // header Origin
  std::string_view key;     // header X-Nocktrail-Key
  std::string_view cookie;  // header Cookie
  std::string_view query_key;
};

class Gate {
 public:
  // `hosts`: "ADDRESS:PORT" as printed. The cookie is named after the port, since browsers keep one
  // jar for all ports of a machine.
  Gate(std::string secret, std::vector<std::string> hosts, int port);

  // A Host that was printed, against pages that got their own name to lead here; no Origin of
  // another page; and the secret: in the header, or for GET in the cookie or the address.
  bool admits(const Presented& request) const;

  // The value of Set-Cookie that stands for the secret in GET.
  std::string cookie() const;

 private:
  bool in_cookie(std::string_view header) const;

  std::string secret_;
  std::vector<std::string> hosts_;
  std::string cookie_name_;
};

}  // namespace nocktrail::serve
