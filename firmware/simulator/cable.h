// The far end of the controller's serial port: a pseudo-terminal and a TCP port, both at once.

#pragma once
#include <poll.h>

#include <string>
#include <vector>

#include "sockets.h"

namespace simulator {

class Cable {
 public:
  // Raises std::runtime_error.
  explicit Cable(uint16_t tcp_port);
  ~Cable();
  Cable(const Cable&) = delete;
  Cable& operator=(const Cable&) = delete;

  uint16_t tcp_port() const { return server_.port(); }
  const std::string& terminal() const { return terminal_; }

  // Adds what a wait should wake for.
  void wait_for(std::vector<pollfd>& events) const;

  // Moves bytes both ways as far as possible; true when somebody has just opened an end.
  bool exchange(std::string& from_host);

  // Bytes for whoever listens; nobody's are lost as on a real line.
  void send(const std::string& bytes);

 private:
  bool terminal_open() const;

  Server server_;
  int master_;
  std::string terminal_, to_tcp_, to_terminal_;
  bool terminal_was_open_ = false;
};

}  // namespace simulator
