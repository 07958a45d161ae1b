/* What the application wants of a board. Write these functions for yours; story.c is a board that plays a story. */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

/* Analogue channels. */
#define BOARD_OIL 0
#define BOARD_SUCTION 1
#define BOARD_SUPPLY 2 /* supply of a ratiometric sensor, through the same divider as its signal */

/* A free-running counter of 32 bits, ms, that wraps. */
uint32_t board_ticks_ms(void);

/* Converter counts of a channel, 0 .. 65535; fewer bits are shifted up. */
uint16_t board_counts(int channel);

/* 1 while the auxiliary contact of the contactor is closed: the machine runs. Not the command. */
int board_runs(void);

/* 1 while the reset key is pressed. */
int board_reset_pressed(void);

/* Energise the relay (1) or let it fall off (0). Energised means that the machine may run. */
void board_relay(int on);

void board_alarm(int on);

/* Start the board anew when this was not called for some steps. */
void board_feed_watchdog(void);

/* Read or write a slot of STORE_SLOTS in memory that outlasts a power loss; a write erases what it has to. */
void board_read_slot(uint16_t slot, uint8_t bytes[], uint16_t count);
void board_write_slot(uint16_t slot, const uint8_t bytes[], uint16_t count);

/* Send a line of text to the service port; must not wait for it for longer than a part of a step. */
void board_send(const char line[]);

#endif
