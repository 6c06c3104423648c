#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "testdata.h"

namespace tidemark::registry {

using Table = std::vector<std::map<std::string, std::string>>;

/// A small comma-separated file of testdata without quotes, one map a row.
inline Table read_table(const std::string& file) {
  std::ifstream in(tidemark::test::testdata().string() + "/" + file);
  EXPECT_TRUE(in) << file;
  const auto cells = [](std::string line) {
    if (line.ends_with('\r')) line.pop_back();
    std::vector<std::string> out;
    std::istringstream text(line);
    for (std::string cell; std::getline(text, cell, ',');) out.push_back(cell);
    return out;
  };
  std::string line;
  std::getline(in, line);
  const auto names = cells(line);
  Table out;
  while (std::getline(in, line)) {
    const auto values = cells(line);
    std::map<std::string, std::string> row;
    for (std::size_t i = 0; i < std::min(names.size(), values.size()); ++i) {
      row[names[i]] = values[i];
    }
    out.push_back(row);
  }
  return out;
}

/// A value computed by R (testdata/statistics/reference.R); fails the test when there is none.
inline double reference(const std::string& name) {
  static const auto values = [] {
    std::map<std::string, double> out;
    for (const auto& row : read_table("statistics/reference.csv")) {
      out[row.at("name")] = std::stod(row.at("value"));
    }
    return out;
  }();
  const auto found = values.find(name);
  EXPECT_NE(found, values.end()) << "reference.csv has no " << name;
  return found == values.end() ? 0.0 : found->second;
}

/// Whether R gave a value: it leaves out what is not defined.
inline bool has_reference(const std::string& name) {
  for (const auto& row : read_table("statistics/reference.csv")) {
    if (row.at("name") == name) return true;
  }
  return false;
}

/// |value - expected| within `digits` significant digits of the expected value.
inline void expect_digits(double value, double expected, int digits, const std::string& what) {
  EXPECT_NEAR(value, expected,
              0.5 * std::pow(10.0, -digits) * std::max(1e-3, std::abs(expected)) * 10)
      << what;
}

}  // namespace tidemark::registry
