#include "tidemark/phantom/cohort.h"

#include <chrono>
#include <cmath>
#include <iomanip>
#include <sstream>

#include "random.h"
#include "tidemark/core/date.h"
#include "tidemark/core/files.h"
#include "tidemark/core/number_text.h"
#include "tidemark/phantom/write.h"

namespace tidemark::phantom {
namespace {

constexpr double kDaysPerYear = 365.25;
constexpr double kSettlingDays = 25.0;  // most of it within six weeks

/// How the stem of one hip moves. Invented.
struct Course {
  double settled_mm = 0.0;
  double mm_per_year = 0.0;  ///< after settling
  double tilt_deg = 0.0;

  [[nodiscard]] Motion at(double days) const {
    const double early = 1.0 - std::exp(-days / kSettlingDays);
    const double mm = settled_mm * early + mm_per_year * days / kDaysPerYear;
    return {{mm}, {0.1 * mm}, {tilt_deg * early}};
  }
};

Course course_of(CountedRandom& random, const std::string& design) {
  if (design == "A") return {std::abs(random.normal(1.0, 0.3)), 0.0, random.normal(0.0, 0.2)};
  const double rate = random.chance(0.4) ? std::abs(random.normal(1.5, 0.4)) : 0.0;
  return {std::abs(random.normal(1.4, 0.4)), rate, random.normal(0.2, 0.3)};
}

/// Days of the films after surgery, the reference film first.
std::vector<int> visits(CountedRandom& random) {
  const auto about = [&](double days, double sd) {
    return static_cast<int>(std::lround(random.bounded_normal(days, sd, 2.0)));
  };
  std::vector<int> days{1 + static_cast<int>(3.0 * random.unit()), about(42, 4), about(365, 20)};
  if (random.chance(2.0 / 3.0)) days.push_back(about(730, 30));
  return days;
}

std::string text_of(const std::chrono::sys_days& day) {
  return format_date(std::chrono::year_month_day(day));
}

std::string hip_folder(int number) {
  std::ostringstream name;
  name << "hip-" << std::setw(4) << std::setfill('0') << number;
  return name.str();
}

std::string rows_of(const CohortHip& hip, int number) {
  const CaseSpec& spec = hip.spec;
  std::string rows;
  for (std::size_t i = 0; i < spec.films.size(); ++i) {
    const std::string index = (i < 10 ? "0" : "") + std::to_string(i);
    rows += hip_name(spec) + "," + (spec.side == Side::kRight ? "R" : "L") + "," +
            spec.surgery_date + ",uncemented," + fixed_text(spec.head_diameter.value, 1) + "," +
            hip.stem_design + "," + hip.centre + "," + hip_folder(number) + "/film-" + index +
            ".dcm," + spec.films[i].date + "," + (i == 0 ? "reference" : "follow-up") + "," +
            std::to_string(hip.examinations[i]) + "\n";
  }
  return rows;
}

}  // namespace

CohortHip cohort_hip(std::uint64_t seed, int number, Millimetres pixel_pitch) {
  CountedRandom random(mix({seed, static_cast<std::uint64_t>(number), 0x636f686f7274ULL}));
  CohortHip hip;
  hip.stem_design = number % 2 == 1 ? "A" : "B";
  hip.centre = random.chance(0.5) ? "north" : "south";
  const Course course = course_of(random, hip.stem_design);
  std::vector<int> days = visits(random);
  hip.examinations.assign(days.size(), 1);
  if (number % 4 == 0) {
    days.insert(days.begin() + 3, days[2]);
    hip.examinations.insert(hip.examinations.begin() + 3, 2);
  }
  CaseOptions options;
  options.follow_ups = static_cast<int>(days.size()) - 1;
  options.pixel_pitch = pixel_pitch;
  hip.spec = random_case(seed, number, options);
  const auto first = std::chrono::sys_days(std::chrono::year(2018) / 1 / 8);
  const auto surgery =
      first + std::chrono::days(static_cast<int>(3.0 * kDaysPerYear * random.unit()));
  hip.spec.surgery_date = text_of(surgery);
  for (std::size_t i = 0; i < days.size(); ++i) {
    hip.spec.films[i].date = text_of(surgery + std::chrono::days(days[i]));
    hip.spec.films[i].motion = i == 0 ? Motion{} : course.at(days[i]);
  }
  return hip;
}

Expected<void> write_cohort(const std::filesystem::path& folder, std::uint64_t seed, int hips,
                            Millimetres pixel_pitch, unsigned threads) {
  std::string sheet =
      "hip,side,surgery_date,fixation,head_diameter_mm,group_stem,group_centre,file,date,role,"
      "examination\n";
  for (int number = 1; number <= hips; ++number) {
    const CohortHip hip = cohort_hip(seed, number, pixel_pitch);
    auto written = write_case(folder / hip_folder(number), hip.spec, threads);
    if (!written) return written;
    sheet += rows_of(hip, number);
  }
  return write_file_atomically(folder / "cohort.csv", sheet);
}

}  // namespace tidemark::phantom
