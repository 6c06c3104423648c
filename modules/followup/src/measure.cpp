#include "tidemark/followup/measure.h"

#include "tidemark/followup/write.h"
