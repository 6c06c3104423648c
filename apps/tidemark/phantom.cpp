#include "phantom.h"

#include <boost/program_options.hpp>
#include <cstdint>
#include <filesystem>
#include <iomanip>
#include <iostream>
#include <optional>
#include <sstream>
#include <string>
#include <thread>

#include "tidemark/phantom/cohort.h"
#include "tidemark/phantom/write.h"

namespace po = boost::program_options;
namespace phantom = tidemark::phantom;

namespace {

constexpr double kCohortPitch = 0.8;  // mm

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

int usage(const std::string& what) {
  std::cerr << "tidemark: phantom: " << what << "\n";
  return 2;
}

int exit_code(const tidemark::Error& error) {
  std::cerr << "tidemark: " << error.sentence() << "\n";
  switch (error.kind) {
    case tidemark::ErrorKind::kUsage:
      return 2;
    case tidemark::ErrorKind::kNotWritable:
      return 4;
    default:
      return 3;
  }
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
      given["femur-side"].as<std::string>() == "R" ? tidemark::Side::kRight : tidemark::Side::kLeft;
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

int write_cohort(const po::variables_map& given) {
  const int hips = given["cohort"].as<int>();
  if (hips < 1) return usage("--cohort is 1 or more");
  // Coarse films unless said otherwise: quick to simulate and to measure.
  const double pitch =
      given["pixel-pitch"].defaulted() ? kCohortPitch : given["pixel-pitch"].as<double>();
  const auto written =
      phantom::write_cohort(given["out"].as<std::string>(), given["seed"].as<std::uint64_t>(), hips,
                            tidemark::Millimetres{pitch}, threads_of(given));
  return written ? 0 : exit_code(written.error());
}

int write_hips(const po::variables_map& given, const phantom::CaseOptions& options) {
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
    const auto written = phantom::write_case(folder, spec, threads, {}, surface);
    if (!written) return exit_code(written.error());
  }
  return 0;
}

}  // namespace

int run_phantom(int argc, char** argv) {
  po::variables_map given;
  const po::options_description table = option_table();
  try {
    const auto style = po::command_line_style::unix_style & ~po::command_line_style::allow_guessing;
    po::store(po::command_line_parser(argc, argv).options(table).style(style).positional({}).run(),
              given);
    po::notify(given);
  } catch (const po::error& error) {
    return usage(error.what());
  }
  if (given.count("help") != 0) {
    std::cout << table << "\n";
    return 0;
  }
  if (given.count("out") == 0) return usage("no output folder; add --out DIR");
  const auto set = set_named(given["set"].as<std::string>());
  if (!set) return usage("no such set; choose --set seat, still, hard, lucency or lysis");
  const std::string side = given["femur-side"].as<std::string>();
  if (side != "L" && side != "R") return usage("--femur-side is L or R");
  const double pitch = given["pixel-pitch"].as<double>();
  if (!(pitch >= 0.05 && pitch <= 4.0)) return usage("--pixel-pitch is 0.05 to 4 mm");
  if (given["hips"].as<int>() < 1 || given["follow-ups"].as<int>() < 0) {
    return usage("--hips is 1 or more and --follow-ups 0 or more");
  }
  const int lateral = given["lateral"].as<int>();
  if (lateral < 0 || lateral > 2 || (lateral == 2 && given["follow-ups"].as<int>() == 0)) {
    return usage("--lateral is 0, 1 or, with a follow-up film, 2");
  }
  if (given["threads"].as<unsigned>() > 256) return usage("--threads is 0 to 256");
  if (given.count("cohort") != 0) return write_cohort(given);
  return write_hips(given, case_options(given, *set));
}
