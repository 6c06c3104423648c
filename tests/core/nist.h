#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "testdata.h"

// Reader for the Statistical Reference Datasets of NIST (https://www.itl.nist.gov/div898/strd/),
// for tests only.
namespace tidemark::nist {

/// All lines of testdata/nist/NAME.dat.
inline std::vector<std::string> lines_of(const std::string& name) {
  std::ifstream in(tidemark::test::testdata().string() + "/nist/" + name + ".dat");
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

/// The numbers of a line, up to the first thing that is none.
inline std::vector<double> numbers_in(const std::string& text) {
  std::istringstream in(text);
  std::vector<double> numbers;
  for (double number = 0.0; in >> number;) numbers.push_back(number);
  return numbers;
}

/// Digits that agree with the certified value (log relative error), at most 15. With a certified
/// zero the absolute error counts. Rule of the NIST site, also McCullough, Am Stat 52 (1998)
/// 358-366, doi:10.1080/00031305.1998.10480599 (from memory).
inline double digits(double value, double certified) {
  const double error = std::abs(value - certified);
  if (error == 0.0) return 15.0;
  const double relative = certified == 0.0 ? error : error / std::abs(certified);
  return std::clamp(-std::log10(relative), 0.0, 15.0);
}

/// Certified regression: parameters with their standard deviations, and the data as y, x1, x2, ...
struct Regression {
  std::vector<double> estimate, sd;
  double residual_sd = 0.0;
  std::vector<std::vector<double>> rows;
};

inline Regression read_regression(const std::string& name) {
  Regression set;
  bool in_data = false;
  for (const std::string& line : lines_of(name)) {
    std::istringstream words(line);
    std::string first;
    words >> first;
    if (in_data) {
      if (const auto row = numbers_in(line); !row.empty()) set.rows.push_back(row);
    } else if (first == "Data:" && line.find('y') != std::string::npos &&
               line.find("Response") == std::string::npos) {
      in_data = true;
    } else if (first.size() >= 2 && first[0] == 'B' && std::isdigit(first[1]) != 0) {
      double estimate = 0.0;
      double sd = 0.0;
      if (words >> estimate >> sd) {
        set.estimate.push_back(estimate);
        set.sd.push_back(sd);
      }
    } else if (line.find("Standard Deviation") != std::string::npos &&
               line.find("of Estimate") == std::string::npos) {
      std::string second;
      if (words >> second && second == "Deviation") words >> set.residual_sd;
    }
  }
  return set;
}

/// Certified summary of one column.
struct Univariate {
  double mean = 0.0, sd = 0.0, autocorrelation = 0.0;
  std::vector<double> values;
};

inline Univariate read_univariate(const std::string& name) {
  Univariate set;
  bool in_data = false;
  const auto after_colon = [](const std::string& line) {
    return numbers_in(line.substr(line.find(':') + 1)).at(0);
  };
  for (const std::string& line : lines_of(name)) {
    if (line.rfind("Sample Mean", 0) == 0) set.mean = after_colon(line);
    if (line.rfind("Sample Standard", 0) == 0) set.sd = after_colon(line);
    if (line.rfind("Sample Autocorrelation", 0) == 0) set.autocorrelation = after_colon(line);
    if (in_data) {
      if (const auto row = numbers_in(line); !row.empty()) set.values.push_back(row.at(0));
    }
    if (line.rfind("Data: Y", 0) == 0) in_data = true;
  }
  return set;
}

}  // namespace tidemark::nist
