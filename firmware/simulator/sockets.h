// Loopback TCP with one client at a time, without waiting.

#pragma once
#include <stdint.h>

#include <string>

namespace simulator {

// What happened to a reader's far end.
enum class Reading { open, ended };

// Appends what can be read now.
Reading read_available(int fd, std::string& to);

// Writes what can be written now and removes it.
Reading write_possible(int fd, std::string& from);

class Server {
 public:
  // Listens on 127.0.0.1; port 0 takes a free one. Raises std::runtime_error.
  explicit Server(uint16_t port);
  ~Server();
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;

  uint16_t port() const { return port_; }
  int listening_fd() const { return listening_; }
  int client_fd() const { return client_; }
  bool connected() const { return client_ >= 0; }

  // Takes a waiting client where there is none; true when one was taken.
  bool accept_waiting();

  // Reads and writes what is possible; false when the client has just gone.
  bool exchange(std::string& received, std::string& unsent);

 private:
  int listening_, client_ = -1;
  uint16_t port_ = 0;
};

}  // namespace simulator
