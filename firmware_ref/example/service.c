#include "service.h"

#include "lubetrip.h"
#include "lubetrip_logic.h"

#define SHORT 16 /* digits of a digest that are told */

static const char *const states[] = {"stopped", "priming", "lubricated", "starved", "tripped", "locked out"};

static const struct {
    uint32_t bit;
    const char *words;
} doubts[] = {
    {LT_DOUBT_OIL_MISSING, "oil pressure missing"},
    {LT_DOUBT_OIL_RANGE, "oil pressure out of range"},
    {LT_DOUBT_OIL_STUCK, "oil pressure does not move"},
    {LT_DOUBT_SUCTION_MISSING, "suction pressure missing"},
    {LT_DOUBT_SUCTION_RANGE, "suction pressure out of range"},
    {LT_DOUBT_SUCTION_STUCK, "suction pressure does not move"},
    {LT_DOUBT_CRANKCASE_MISSING, "crankcase pressure missing"},
    {LT_DOUBT_CRANKCASE_RANGE, "crankcase pressure out of range"},
    {LT_DOUBT_CRANKCASE_STUCK, "crankcase pressure does not move"},
    {LT_DOUBT_LATE, "a step came late"},
    {LT_DOUBT_STANDSTILL, "oil pressure at standstill"},
};

/* Where the next character goes, and how many still fit. */
typedef struct {
    char *at;
    int left;
} writer;

static void put(writer *to, const char text[], int most)
{
    int place;

    for (place = 0; (place < most) && (text[place] != '\0') && (to->left > 1); place++) {
        *to->at++ = text[place];
        to->left--;
    }
    *to->at = '\0';
}

static void put_text(writer *to, const char text[])
{
    put(to, text, SERVICE_LINE);
}

static void put_number(writer *to, int32_t number)
{
    char digits[12];
    int place = (int)sizeof digits - 1;
    int32_t rest = number;

    digits[place] = '\0';
    do {
        place--;
        digits[place] = (char)('0' + ((rest < 0) ? -(rest % 10) : (rest % 10)));
        rest /= 10;
    } while (rest != 0);
    if (number < 0) {
        place--;
        digits[place] = '-';
    }
    put_text(to, &digits[place]);
}

static void put_cause(writer *to, int32_t cause)
{
    static const char *const causes[] = {"none", "oil pressure", "reload", "sensor", "too many resets"};
    const char *between = ": ";
    uint16_t row;

    put_text(to, causes[cause & LT_CAUSE_CODE]);
    for (row = 0U; row < (uint16_t)(sizeof doubts / sizeof doubts[0]); row++) {
        if (((uint32_t)cause & doubts[row].bit) != 0U) {
            put_text(to, between);
            put_text(to, doubts[row].words);
            between = ", ";
        }
    }
}

void service_line(char line[SERVICE_LINE], const int32_t state[], const int32_t outputs[], const char settings_digest[],
                  int records_fail)
{
    writer to;

    to.at = line;
    to.left = SERVICE_LINE;
    put_text(&to, states[state[LT_ST_STATE]]);
    put_text(&to, "; run permission ");
    put_number(&to, outputs[LT_OUT_RUN_PERMISSION]);
    put_text(&to, "; alarm ");
    put_number(&to, outputs[LT_OUT_ALARM]);
    put_text(&to, "; integral ");
    put_number(&to, outputs[LT_OUT_INTEGRAL_PERCENT]);
    put_text(&to, " %; net oil pressure ");
    if (outputs[LT_OUT_CREDIBLE] != 0) {
        put_number(&to, outputs[LT_OUT_NET_OIL_PRESSURE]);
        put_text(&to, " Pa");
    } else {
        put_text(&to, "in doubt");
    }
    put_text(&to, "; cause ");
    put_cause(&to, outputs[LT_OUT_STOP_CAUSE]);
    put_text(&to, (records_fail != 0) ? "; records FAIL; logic " : "; logic ");
    put(&to, LUBETRIP_LOGIC_DIGEST, SHORT);
    put_text(&to, "; settings ");
    put(&to, settings_digest, SHORT);
}
