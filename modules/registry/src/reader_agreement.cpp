#include "tidemark/registry/reader_agreement.h"

#include <algorithm>
#include <set>

namespace tidemark::registry {
namespace {

const CohortHip* hip_of(const Cohort& cohort, const std::string& name) {
  const auto found = std::lower_bound(
      cohort.hips.begin(), cohort.hips.end(), name,
      [](const CohortHip& hip, const std::string& wanted) { return hip.hip < wanted; });
  return found == cohort.hips.end() || found->hip != name ? nullptr : &*found;
}

template <class Row>
bool same_film(const Reading& reading, const Row& row) {
  if (row.examination != 1) return false;
  if (!reading.date.empty()) return reading.date == row.date;
  return reading.days && row.days && *reading.days == *row.days;
}

const CohortComparison* comparison_of(const CohortHip& hip, const Reading& reading) {
  for (const CohortComparison& c : hip.comparisons) {
    if (same_film(reading, c)) return &c;
  }
  return nullptr;
}

bool has_film(const CohortHip& hip, const Reading& reading) {
  const bool zone = std::any_of(hip.zones.begin(), hip.zones.end(),
                                [&](const CohortZone& row) { return same_film(reading, row); });
  return zone || comparison_of(hip, reading) != nullptr;
}

/// Pairs of one quantity, each with its day, by hip in the order of days.
using DatedPairs = std::map<std::string, std::vector<std::pair<int, PairedReading>>>;

DatedPairs pairs_of(const Cohort& cohort, const std::vector<Reading>& readings,
                    const std::string& reader, Quantity quantity, std::size_t& doubled) {
  DatedPairs out;
  std::set<const CohortComparison*> paired;
  for (const Reading& reading : readings) {
    const auto value = reading.values.find(quantity);
    const CohortHip* hip = hip_of(cohort, reading.hip);
    if (reading.reader != reader || value == reading.values.end() || hip == nullptr) continue;
    const CohortComparison* c = comparison_of(*hip, reading);
    if (c == nullptr || !value_of(*c, quantity)) continue;
    if (!paired.insert(c).second) {
      ++doubled;
      continue;
    }
    out[reading.hip].push_back(
        {c->days.value_or(0), {reading.hip, value_of(*c, quantity)->value, value->second}});
  }
  for (auto& [hip, pairs] : out) {
    std::stable_sort(pairs.begin(), pairs.end(),
                     [](const auto& a, const auto& b) { return a.first < b.first; });
  }
  return out;
}

std::optional<QuantityAgreement> quantity_agreement(const DatedPairs& by_hip,
                                                    const std::string& reader, Quantity quantity) {
  QuantityAgreement out;
  out.reader = reader;
  out.quantity = quantity;
  std::vector<std::vector<double>> differences;
  Eigen::MatrixXd last(static_cast<Eigen::Index>(by_hip.size()), 2);
  Eigen::Index row = 0;
  for (const auto& [hip, pairs] : by_hip) {
    auto& of_hip = differences.emplace_back();
    for (const auto& [days, pair] : pairs) {
      of_hip.push_back(pair.program - pair.reader);
      out.pairs.push_back(pair);
    }
    last.row(row++) << pairs.back().second.program, pairs.back().second.reader;
  }
  const auto limits = limits_of_agreement(differences);
  if (!limits) return std::nullopt;
  out.limits = *limits;
  const auto icc = intraclass_correlation(last);
  if (icc) {
    out.icc = *icc;
  } else {
    out.icc_reason = icc.error().wrong;
  }
  return out;
}

/// Place of a state in the order absent, cannot tell, present.
std::optional<Eigen::Index> order_of(ZoneState state) {
  if (state == ZoneState::kNotSeen) return std::nullopt;
  if (state == ZoneState::kAbsent) return 0;
  return state == ZoneState::kCannotTell ? 1 : 2;
}

/// Tables of what both say of the zones, by hip.
struct ZoneTables {
  std::map<const CohortHip*, Eigen::MatrixXd> by_hip;
  std::size_t doubled = 0;
};

ZoneTables zone_tables(const Cohort& cohort, const std::vector<Reading>& readings,
                       const std::string& reader) {
  ZoneTables out;
  std::set<const CohortZone*> counted;
  for (const Reading& reading : readings) {
    const CohortHip* hip = hip_of(cohort, reading.hip);
    if (reading.reader != reader || hip == nullptr) continue;
    for (const CohortZone& zone : hip->zones) {
      // A cemented stem has two interfaces; readers call a zone as a whole: the one with the bone.
      if (!same_film(reading, zone) || zone.interface == "stem_cement") continue;
      const auto theirs = reading.zones.find(zone.zone);
      if (theirs == reading.zones.end()) continue;
      if (!counted.insert(&zone).second) {
        ++out.doubled;
        continue;
      }
      const auto ours = order_of(zone.state);
      const auto other = order_of(theirs->second);
      if (!ours || !other) continue;
      auto& counts = out.by_hip.try_emplace(hip, Eigen::MatrixXd::Zero(3, 3)).first->second;
      counts(*ours, *other) += 1.0;
    }
  }
  return out;
}

/// Absent and present only.
Eigen::MatrixXd decided(const Eigen::MatrixXd& counts) {
  Eigen::MatrixXd out(2, 2);
  out << counts(0, 0), counts(0, 2), counts(2, 0), counts(2, 2);
  return out;
}

/// Hips of one patient are one cluster.
std::vector<Eigen::MatrixXd> by_patient(const ZoneTables& tables) {
  std::map<std::pair<bool, std::string>, Eigen::MatrixXd> sums;
  for (const auto& [hip, counts] : tables.by_hip) {
    auto& sum = sums[{hip->patient.has_value(), hip->patient.value_or(hip->hip)}];
    if (sum.size() == 0) sum = Eigen::MatrixXd::Zero(3, 3);
    sum += counts;
  }
  std::vector<Eigen::MatrixXd> out;
  out.reserve(sums.size());
  for (auto& [patient, counts] : sums) out.push_back(std::move(counts));
  return out;
}

std::optional<ZoneAgreement> zone_agreement(const ZoneTables& tables, const std::string& reader) {
  if (tables.by_hip.empty()) return std::nullopt;
  ZoneAgreement out;
  out.reader = reader;
  for (const auto& [hip, counts] : tables.by_hip) {
    const Eigen::MatrixXd both = decided(counts);
    out.both_judged += static_cast<std::size_t>(both.sum());
    out.both_looked += static_cast<std::size_t>(counts.sum());
    out.hips_judged += both.sum() > 0.0 ? 1U : 0U;
    ++out.hips_looked;
  }
  const auto clusters = by_patient(tables);
  std::vector<Eigen::MatrixXd> judged;
  judged.reserve(clusters.size());
  for (const Eigen::MatrixXd& counts : clusters) judged.push_back(decided(counts));
  const auto plain = clustered_kappa(judged, KappaWeights::kNone);
  if (plain) {
    out.judged = *plain;
  } else {
    out.reason = plain.error().wrong;
  }
  const auto weighted = clustered_kappa(clusters, KappaWeights::kLinear);
  if (weighted) out.weighted = *weighted;
  return out;
}

}  // namespace

ReaderAgreement reader_agreement(const Cohort& cohort, const std::vector<Reading>& readings) {
  ReaderAgreement out;
  out.readings = readings.size();
  std::set<std::string> readers;
  for (const Reading& reading : readings) {
    readers.insert(reading.reader);
    const CohortHip* hip = hip_of(cohort, reading.hip);
    out.without_film += hip == nullptr || !has_film(*hip, reading) ? 1U : 0U;
  }
  for (const std::string& reader : readers) {
    for (const Quantity quantity : kQuantities) {
      const auto found = quantity_agreement(
          pairs_of(cohort, readings, reader, quantity, out.doubled), reader, quantity);
      if (found) out.quantities.push_back(*found);
    }
    const ZoneTables tables = zone_tables(cohort, readings, reader);
    out.doubled += tables.doubled;
    const auto zones = zone_agreement(tables, reader);
    if (zones) out.zones.push_back(*zones);
  }
  return out;
}

std::vector<Reading> marks_of(const Cohort& cohort) {
  std::vector<Reading> out;
  for (const CohortHip& hip : cohort.hips) {
    std::map<std::pair<std::string, int>, Reading> by_film;
    for (const auto& [place, reader] : hip.marks) {
      if (place.examination != 1 || place.interface == "stem_cement") continue;
      Reading& reading = by_film[{reader, place.film}];
      reading.hip = hip.hip;
      reading.date = place.date;
      reading.days = place.days;
      reading.reader = reader + ", program's answer in sight";
      reading.zones[place.zone] = place.state;
    }
    for (auto& [film, reading] : by_film) out.push_back(std::move(reading));
  }
  return out;
}

std::vector<Reading> readings_of(const Cohort& other, const std::string& reader) {
  std::vector<Reading> out;
  for (const CohortHip& hip : other.hips) {
    std::map<std::string, Reading> by_date;
    const auto at = [&](const std::string& date, std::optional<int> days) -> Reading& {
      Reading& reading = by_date[date.empty() ? std::to_string(days.value_or(0)) : date];
      reading.hip = hip.hip;
      reading.date = date;
      reading.days = days;
      reading.reader = reader;
      return reading;
    };
    for (const CohortComparison& c : hip.comparisons) {
      if (c.examination != 1) continue;
      Reading& reading = at(c.date, c.days);
      for (const Quantity quantity : kQuantities) {
        if (const auto& value = value_of(c, quantity)) reading.values[quantity] = value->value;
      }
    }
    for (const CohortZone& zone : hip.zones) {
      if (zone.examination != 1 || zone.interface == "stem_cement") continue;
      at(zone.date, zone.days).zones[zone.zone] = zone.state;
    }
    for (auto& [date, reading] : by_date) out.push_back(std::move(reading));
  }
  return out;
}

}  // namespace tidemark::registry
