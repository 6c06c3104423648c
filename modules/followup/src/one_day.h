#pragma once

#include "working.h"

namespace tidemark::followup {

/// Films of one day show one hip: a line that one of them shows and another one does not is left
/// open on both, in the films' results and in what they are compared by. Frontal films and lateral
/// ones each among themselves; undated films are of no day.
void leave_disagreements_open(WorkingSeries& work);

}  // namespace tidemark::followup
