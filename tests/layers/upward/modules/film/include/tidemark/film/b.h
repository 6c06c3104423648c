#include "tidemark/core/a.h"
