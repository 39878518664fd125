#include "interrupt.hpp"

#include <csignal>

namespace nocktrail::cli {
namespace {

// A signal handler can reach nothing but a flag of this kind (C++20 [support.signal]).
volatile std::sig_atomic_t interrupt_seen = 0;

extern "C" void note_interrupt(int) {
  interrupt_seen = 1;
}

}  // namespace

void note_interrupts() {
  struct sigaction action {};
  action.sa_handler = note_interrupt;
  // One shot: the default action is back for the second Ctrl-C. System calls restart, so that a
  // half-done write is never mistaken for a failed one.
  action.sa_flags = static_cast<int>(SA_RESETHAND) | SA_RESTART;
  sigemptyset(&action.sa_mask);
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
}

bool interrupted() {
  return interrupt_seen != 0;
}

}  // namespace nocktrail::cli
