#pragma once

#include "run.h"
#include "working.h"

namespace tidemark::followup {

/// Finds the implant on every film that was read and is not from the side: fills `seen`, or refuses
/// the film. Where nothing says which hip it is, both sides are tried and `work.side` is set.
/// Drops `upright`.
void see_implants(WorkingSeries& work, const Run& run);

}  // namespace tidemark::followup
