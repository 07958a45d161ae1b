/* The line for the service port: what the protection runs on, what it sees, and why it stopped. */
#ifndef SERVICE_H
#define SERVICE_H

#include <stdint.h>

#define SERVICE_LINE 320

/* Fill a line, ended by nothing: state, permission, alarm, percent, net oil pressure, cause, digests of logic and settings. */
void service_line(char line[SERVICE_LINE], const int32_t state[], const int32_t outputs[], const char settings_digest[],
                  int records_fail);

#endif
