#pragma once

#include <vector>

#include "model.h"
#include "random.h"

namespace tidemark::phantom {

/// Cavities and their rims of one film, world frame, and the struts left beside them.
void add_cavities(const Model& model, const FilmSpec& film, const Rigid3& world_from_femur,
                  Scene& scene);

/// What the cavities of a film show against the first film of the case, in the order of
/// FilmSpec::cavities; those that are not there, or not larger than on the first film, are left
/// out.
[[nodiscard]] std::vector<CavityTruth> cavity_truth(const Model& model, const CaseSpec& spec,
                                                    const FilmSpec& film, double mm_per_px,
                                                    unsigned threads);

/// Draws what the set "lysis" adds to a hip: cavities that grow from film to film, in two hips of
/// three; compacted bone, little migration, flat or everyday views.
void add_lysis(CountedRandom& random, CaseSpec& hip);

}  // namespace tidemark::phantom
