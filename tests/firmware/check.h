// The smallest test frame: TEST cases by name, CHECK and CHECK_EQUAL that tell where and what.

#pragma once
#include <iostream>
#include <string>

namespace check {

struct Case {
  const char* name;
  void (*body)();
  Case* next;
};

inline Case*& cases() {
  static Case* first = nullptr;
  return first;
}

inline int& failures() {
  static int count = 0;
  return count;
}

inline std::string& data_folder() {
  static std::string path;
  return path;
}

struct Register {
  Case it;
  Register(const char* name, void (*body)()) : it{name, body, cases()} { cases() = &it; }
};

template <class A, class B>
void equal(const A& found, const B& wanted, const char* text, const char* file, int line) {
  if (found == wanted) return;
  ++failures();
  std::cout << file << ':' << line << ": " << text << " is " << +found << ", wanted " << +wanted
            << '\n';
}

inline void holds(bool truth, const char* text, const char* file, int line) {
  if (truth) return;
  ++failures();
  std::cout << file << ':' << line << ": not so: " << text << '\n';
}

}  // namespace check

#define TEST(name)                                             \
  static void test_##name();                                   \
  static check::Register register_##name(#name, test_##name);  \
  static void test_##name()

#define CHECK(truth) check::holds(truth, #truth, __FILE__, __LINE__)
#define CHECK_EQUAL(found, wanted) check::equal(found, wanted, #found, __FILE__, __LINE__)
