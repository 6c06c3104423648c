#include <boost/program_options.hpp>
#include <cstdint>
#include <filesystem>
#include <iomanip>
#include <optional>
#include <sstream>
#include <string>
#include <thread>

#include "commands.h"
#include "options.h"
#include "tidemark/phantom/cohort.h"
#include "tidemark/phantom/write.h"

namespace tidemark::app {
namespace po = boost::program_options;

namespace {

constexpr double kCohortPitch = 0.8;  // mm
constexpr double kLeastPitch = 0.05;
constexpr double kMostPitch = 4.0;
constexpr unsigned kMostThreads = 256;

po::options_description option_table() {
  po::options_description table(
      "tidemark phantom --out DIR [options]\n\nSimulated hips with truth");
  table.add_options()                                            //
      ("help", "this text")                                      //
      ("out", po::value<std::string>(), "folder for the films")  //
      ("hips", po::value<int>()->default_value(1),
       "number of hips; more than one: a folder each")                             //
      ("follow-ups", po::value<int>()->default_value(1), "follow-up films a hip")  //
      ("lateral", po::value<int>()->default_value(0)->implicit_value(1),
       "a lateral film of the day of the reference film too; 2: and one of the last follow-up's")  //
      ("seed", po::value<std::uint64_t>()->default_value(1), "what everything is drawn from")  //
      ("set", po::value<std::string>()->default_value("seat"),
       "seat (migration), still (none, large changes of pose), hard (films nobody would choose), "
       "lucency (lucent lines by zone) or lysis (focal loss of bone beside the stem)")  //
      ("femur-surface", po::value<std::string>(),
       "closed outer surface of a femur (.obj .stl .ply)")                              //
      ("pelvis-surface", po::value<std::string>(), "closed outer surface of a pelvis")  //
      ("surface-axes", po::value<std::string>()->default_value("LPS"),
       "where x, y, z of the surfaces point: three of L R A P S I")  //
      ("femur-side", po::value<std::string>()->default_value("L"),
       "side of the surface's femur: L or R")                                                  //
      ("pixel-pitch", po::value<double>()->default_value(0.14), "mm on the detector, AP hip")  //
      ("stem-surface", "write the stem's surface beside the films: stem.stl")                  //
      ("threads", po::value<unsigned>()->default_value(0), "0 = one for each core")            //
      ("cohort", po::value<int>(),
       "an invented cohort of so many hips with two stem designs, and its sheet cohort.csv")  //
      ("demo", "the demo hip: three films, 2.5 mm of subsidence, then none");
  return table;
}

tl::unexpected<Error> usage(const std::string& wrong, const std::string& remedy) {
  return fail(ErrorKind::kUsage, "phantom", wrong, remedy);
}

std::optional<phantom::CaseSet> set_named(const std::string& name) {
  if (name == "seat") return phantom::CaseSet::kSeat;
  if (name == "still") return phantom::CaseSet::kStill;
  if (name == "hard") return phantom::CaseSet::kHard;
  if (name == "lucency") return phantom::CaseSet::kLucency;
  if (name == "lysis") return phantom::CaseSet::kLysis;
  return std::nullopt;
}

std::string folder_of(int number) {
  std::ostringstream name;
  name << "hip-" << std::setw(4) << std::setfill('0') << number;
  return name.str();
}

phantom::CaseOptions case_options(const po::variables_map& given, phantom::CaseSet set) {
  phantom::CaseOptions options;
  options.set = set;
  options.follow_ups = given["follow-ups"].as<int>();
  options.lateral = given["lateral"].as<int>();
  options.pixel_pitch = {given["pixel-pitch"].as<double>()};
  options.surfaces.axes = given["surface-axes"].as<std::string>();
  options.surfaces.femur_side =
      given["femur-side"].as<std::string>() == "R" ? Side::kRight : Side::kLeft;
  if (given.count("femur-surface") != 0) {
    options.surfaces.femur = given["femur-surface"].as<std::string>();
  }
  if (given.count("pelvis-surface") != 0) {
    options.surfaces.pelvis = given["pelvis-surface"].as<std::string>();
  }
  return options;
}

unsigned threads_of(const po::variables_map& given) {
  const unsigned threads = given["threads"].as<unsigned>();
  return threads == 0 ? std::max(1U, std::thread::hardware_concurrency()) : threads;
}

Expected<void> write_cohort(const po::variables_map& given) {
  const int hips = given["cohort"].as<int>();
  // Coarse films unless said otherwise: quick to simulate and to measure.
  const double pitch =
      given["pixel-pitch"].defaulted() ? kCohortPitch : given["pixel-pitch"].as<double>();
  return phantom::write_cohort(given["out"].as<std::string>(), given["seed"].as<std::uint64_t>(),
                               hips, Millimetres{pitch}, threads_of(given));
}

Expected<void> write_hips(const po::variables_map& given, const phantom::CaseOptions& options) {
  const std::filesystem::path out = given["out"].as<std::string>();
  const int hips = given.count("demo") != 0 ? 1 : given["hips"].as<int>();
  const unsigned threads = threads_of(given);
  for (int number = 1; number <= hips; ++number) {
    const phantom::CaseSpec spec =
        given.count("demo") != 0
            ? phantom::demo_case(options.pixel_pitch)
            : phantom::random_case(given["seed"].as<std::uint64_t>(), number, options);
    const auto folder = hips > 1 ? out / folder_of(number) : out;
    const auto surface =
        given.count("stem-surface") != 0 ? phantom::StemFile::kWrite : phantom::StemFile::kNone;
    auto written = phantom::write_case(folder, spec, threads, {}, surface);
    if (!written) return written;
  }
  return {};
}

/// The options that hold each other or a range.
Expected<phantom::CaseOptions> checked(const po::variables_map& given) {
  if (given.count("out") == 0) return usage("there is nowhere to put the films", "give --out DIR");
  const auto set = set_named(given["set"].as<std::string>());
  if (!set) {
    return usage("--set knows no such set", "write seat, still, hard, lucency or lysis");
  }
  const std::string side = given["femur-side"].as<std::string>();
  if (side != "L" && side != "R") return usage("--femur-side is neither L nor R", "write L or R");
  const double pitch = given["pixel-pitch"].as<double>();
  if (!(pitch >= kLeastPitch && pitch <= kMostPitch)) {
    return usage("--pixel-pitch is out of range", "give 0.05 to 4 mm");
  }
  if (given["hips"].as<int>() < 1) return usage("--hips is out of range", "give 1 or more");
  const int follow_ups = given["follow-ups"].as<int>();
  if (follow_ups < 0) return usage("--follow-ups is out of range", "give 0 or more");
  const int lateral = given["lateral"].as<int>();
  if (lateral < 0 || lateral > 2 || (lateral == 2 && follow_ups == 0)) {
    return usage("--lateral is out of range", "give 0, 1 or, with a follow-up film, 2");
  }
  if (given["threads"].as<unsigned>() > kMostThreads) {
    return usage("--threads is out of range", "give 0 to 256");
  }
  if (given.count("cohort") != 0 && given["cohort"].as<int>() < 1) {
    return usage("--cohort is out of range", "give 1 or more");
  }
  return case_options(given, *set);
}

}  // namespace

std::string phantom_help() {
  std::ostringstream out;
  out << option_table() << "\n";
  return out.str();
}

int run_phantom(const Arguments& arguments) {
  const auto given = parse(arguments, option_table(), "phantom", "operand", Operands::kNone);
  if (!given) return report(given.error());
  if (given->count("help") != 0) return print(phantom_help(), kAllMeasured);
  const auto options = checked(*given);
  if (!options) return report(options.error());
  const auto written =
      given->count("cohort") != 0 ? write_cohort(*given) : write_hips(*given, *options);
  return written ? kAllMeasured : report(written.error());
}

}  // namespace tidemark::app
