#include "tidemark/core/geometry.h"
