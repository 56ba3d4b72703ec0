// Runs one case by name: `native_tests CASE DATA_FOLDER`; exit 0 passed, 1 failed, 2 unknown.

#include <string.h>

#include "check.h"

int main(int count, char** arguments) {
  if (count != 3) return 2;
  check::data_folder() = arguments[2];
  for (check::Case* c = check::cases(); c; c = c->next)
    if (strcmp(c->name, arguments[1]) == 0) {
      c->body();
      return check::failures() ? 1 : 0;
    }
  return 2;
}
