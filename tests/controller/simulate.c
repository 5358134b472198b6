// Runs controller sketches in simavr and writes down what they do.
//
//   simulate SECONDS SCRIPT BOARD.elf[:PPM] [BOARD.elf[:PPM]]
//
// One or two boards, each with a clock of 16 MHz off by PPM millionths. SCRIPT is a text file, one
// order a line, in order of time (seconds; B is the board, 0 or 1):
//
//   TIME B pin PORTBIT LEVEL     drives an input, e.g. "2.5 0 pin E4 0"
//   TIME B say TEXT              sends TEXT and a line end over the serial line
//   TIME B send HEXBYTES         sends bytes over the serial line
//   TIME B pc WORD_HEX           sets the program counter (to hang the program on purpose)
//   TIME B xor BYTE_HEX MASK_HEX changes a byte of flash
//   0 B wire PORTBIT B2 PORTBIT  joins an output of board B to an input of board B2
//   0 B watch PORTBIT            writes down every edge of a pin
//   0 B driver ADDRESS_HEX       a PCA9685 hangs on the I2C bus
//
// Written to standard output as CSV, times in clock cycles of the board:
//
//   pulse,B,PORTBIT,RISE,WIDTH   a pulse on a pin of ports A, C, D or G, where servos hang
//   edge,B,PORTBIT,TIME,LEVEL    an edge of a watched pin
//   said,B,TIME,BYTE             a byte from the serial line
//   channel,B,N,TIME,ON,OFF      four registers of a driver channel were written
//   register,B,N,TIME,VALUE      another register of the driver was written
//   state,B,TIME,STATE           simavr's state of the processor, where it changed
//
// The driver follows the register description of the PCA9685 data sheet (NXP, Rev. 4): register
// pointer, auto-increment (MODE1 bit AI), PRE_SCALE writable only while MODE1 bit SLEEP is set.
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_twi.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_io.h>
#include <simavr/sim_regbit.h>

typedef struct Board Board;

typedef struct {
  Board *board;
  char name[4];
  int watched;
  avr_cycle_count_t rise;
  Board *to;          // wired to this input, where not null
  char to_port;
  int to_bit;
} Pin;

struct Board {
  avr_t *avr;
  int number;
  double hertz;
  Pin pins[26][8];
  // bytes waiting for the serial line
  unsigned char queue[65536];
  int head, tail, busy;
  // the PWM driver
  int driver;           // its address, 0 for none
  int selected, pointed, pointer;
  unsigned char registers[256];
  avr_irq_t *twi_in;
};

static Board boards[2];
static int board_count;

// --- pins ---

static void drive(Board *board, char port, int bit, int level) {
  avr_raise_irq(avr_io_getirq(board->avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit), level);
}

static void pin_changed(avr_irq_t *irq, uint32_t value, void *param) {
  (void)irq;
  Pin *pin = param;
  Board *board = pin->board;
  avr_cycle_count_t now = board->avr->cycle;
  int level = value & 1;
  if (pin->watched) printf("edge,%d,%s,%llu,%d\n", board->number, pin->name, (unsigned long long)now, level);
  if (pin->to) drive(pin->to, pin->to_port, pin->to_bit, level);
  if (!strchr("ACDG", pin->name[0])) return;
  if (level) {
    pin->rise = now;
  } else if (pin->rise) {
    printf("pulse,%d,%s,%llu,%llu\n", board->number, pin->name, (unsigned long long)pin->rise,
           (unsigned long long)(now - pin->rise));
    pin->rise = 0;
  }
}

// --- serial line: one byte at a time, when the last one has been taken ---

static avr_cycle_count_t feed(avr_t *avr, avr_cycle_count_t when, void *param) {
  Board *board = param;
  if (board->head == board->tail) {
    board->busy = 0;
    return 0;
  }
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), board->queue[board->tail]);
  board->tail = (board->tail + 1) % (int)sizeof board->queue;
  return when + 16000000 * 10 / 115200;   // ten bits at 115200 baud
}

static void queue_byte(Board *board, unsigned char byte) {
  board->queue[board->head] = byte;
  board->head = (board->head + 1) % (int)sizeof board->queue;
  if (!board->busy) {
    board->busy = 1;
    avr_cycle_timer_register(board->avr, 1, feed, board);
  }
}

static void heard(avr_irq_t *irq, uint32_t value, void *param) {
  (void)irq;
  Board *board = param;
  printf("said,%d,%llu,%u\n", board->number, (unsigned long long)board->avr->cycle, (unsigned)(value & 255));
}

// --- the PWM driver ---

static void driver_write(Board *board, unsigned char value) {
  int at = board->pointer;
  unsigned long long now = board->avr->cycle;
  int asleep = board->registers[0] & 0x10;
  if (at != 0xFE || asleep) board->registers[at] = value;
  if (at >= 0x06 && at <= 0x45) {
    if ((at - 0x06) % 4 == 3) {
      const unsigned char *r = &board->registers[at - 3];
      printf("channel,%d,%d,%llu,%d,%d\n", board->number, (at - 0x06) / 4, now, r[0] | r[1] << 8,
             r[2] | r[3] << 8);
    }
  } else {
    printf("register,%d,%d,%llu,%d\n", board->number, at, now, board->registers[at]);
  }
  if (board->registers[0] & 0x20) board->pointer = (at + 1) & 255;
}

static void bus(avr_irq_t *irq, uint32_t value, void *param) {
  (void)irq;
  Board *board = param;
  avr_twi_msg_irq_t v;
  v.u.v = value;
  if (v.u.twi.msg & TWI_COND_STOP) board->selected = 0;
  if (v.u.twi.msg & TWI_COND_START) {
    board->selected = (v.u.twi.addr >> 1) == board->driver && !(v.u.twi.addr & 1);
    board->pointed = 0;
    if (board->selected) avr_raise_irq(board->twi_in, avr_twi_irq_msg(TWI_COND_ACK, v.u.twi.addr, 1));
  }
  if (board->selected && (v.u.twi.msg & TWI_COND_WRITE)) {
    avr_raise_irq(board->twi_in, avr_twi_irq_msg(TWI_COND_ACK, v.u.twi.addr, 1));
    if (board->pointed) {
      driver_write(board, v.u.twi.data);
    } else {
      board->pointer = v.u.twi.data;
      board->pointed = 1;
    }
  }
}

static void attach_driver(Board *board, int address) {
  board->driver = address;
  board->registers[0] = 0x11;    // MODE1 after power-up: asleep
  board->registers[0xFE] = 0x1E;
  board->twi_in = avr_io_getirq(board->avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT);
  avr_irq_register_notify(avr_io_getirq(board->avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), bus, board);
}

// --- boards ---

// simavr tells what it loads on standard output, where only our rows belong.
static void only_errors(avr_t *avr, const int level, const char *format, va_list arguments) {
  (void)avr;
  if (level <= LOG_ERROR) vfprintf(stderr, format, arguments);
}

static void no_sleep(avr_t *avr, avr_cycle_count_t cycles) {
  (void)avr;
  (void)cycles;
}

// Keeps a sleeping processor from leaping ahead of the other board: edges between boards come at most
// so many cycles (50 us) late.
#define SHORT_STEP 800

static avr_cycle_count_t short_steps(avr_t *avr, avr_cycle_count_t when, void *param) {
  (void)avr;
  (void)param;
  return when + SHORT_STEP;
}

static void start_board(Board *board, int number, char *argument) {
  char *ppm = strrchr(argument, ':');
  if (ppm) *ppm++ = 0;
  board->number = number;
  board->hertz = 16e6 * (1 + (ppm ? atof(ppm) : 0) * 1e-6);
  elf_firmware_t firmware;
  memset(&firmware, 0, sizeof firmware);
  if (elf_read_firmware(argument, &firmware) != 0) {
    fprintf(stderr, "simulate: cannot read %s\n", argument);
    exit(2);
  }
  board->avr = avr_make_mcu_by_name("atmega2560");
  if (!board->avr) {
    fprintf(stderr, "simulate: this simavr knows no atmega2560\n");
    exit(2);
  }
  avr_init(board->avr);
  board->avr->frequency = 16000000;
  board->avr->log = LOG_ERROR;
  board->avr->sleep = no_sleep;
  avr_load_firmware(board->avr, &firmware);
  avr_regbit_set(board->avr, board->avr->reset_flags.porf);   // power-up
  // Without this, simavr looks at a low interrupt pin every cycle, enabled or not.
  for (int i = 0; i < 8; i++) avr_extint_set_strict_lvl_trig(board->avr, i, 0);
  uint32_t flags = 0;
  avr_ioctl(board->avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
  flags &= ~(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
  avr_ioctl(board->avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
  avr_irq_register_notify(avr_io_getirq(board->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), heard, board);
  for (const char *p = "ABCDEFGHJKL"; *p; p++) {
    for (int bit = 0; bit < 8; bit++) {
      Pin *pin = &board->pins[*p - 'A'][bit];
      pin->board = board;
      snprintf(pin->name, sizeof pin->name, "%c%d", *p, bit);
      avr_irq_t *irq = avr_io_getirq(board->avr, AVR_IOCTL_IOPORT_GETIRQ(*p), bit);
      if (irq) avr_irq_register_notify(irq, pin_changed, pin);
    }
  }
}

// --- the script ---

static void obey(Board *board, char *order) {
  char what[16], name[8], other[8];
  int n = 0, level, to;
  unsigned a, b;
  if (sscanf(order, "%15s %n", what, &n) < 1) return;
  char *rest = order + n;
  if (!strcmp(what, "pin") && sscanf(rest, "%7s %d", name, &level) == 2) {
    drive(board, name[0], name[1] - '0', level);
  } else if (!strcmp(what, "say")) {
    for (char *p = rest; *p && *p != '\n'; p++) queue_byte(board, *p);
    queue_byte(board, '\n');
  } else if (!strcmp(what, "send")) {
    for (char *p = rest; sscanf(p, "%2x%n", &a, &n) == 1; p += n) queue_byte(board, a);
  } else if (!strcmp(what, "pc") && sscanf(rest, "%x", &a) == 1) {
    board->avr->pc = a;
    board->avr->state = cpu_Running;
  } else if (!strcmp(what, "xor") && sscanf(rest, "%x %x", &a, &b) == 2) {
    board->avr->flash[a] ^= b;
  } else if (!strcmp(what, "wire") && sscanf(rest, "%7s %d %7s", name, &to, other) == 3) {
    Pin *pin = &board->pins[name[0] - 'A'][name[1] - '0'];
    pin->to = &boards[to];
    pin->to_port = other[0];
    pin->to_bit = other[1] - '0';
  } else if (!strcmp(what, "watch") && sscanf(rest, "%7s", name) == 1) {
    board->pins[name[0] - 'A'][name[1] - '0'].watched = 1;
  } else if (!strcmp(what, "driver") && sscanf(rest, "%x", &a) == 1) {
    attach_driver(board, a);
  } else {
    fprintf(stderr, "simulate: what is \"%s\"?\n", order);
    exit(2);
  }
}

static FILE *script;
static char order[140000];
static double order_time = INFINITY;
static int order_board, order_at;

static void next_order(void) {
  order_time = INFINITY;
  while (fgets(order, sizeof order, script)) {
    if (order[0] != '#' && sscanf(order, "%lf %d %n", &order_time, &order_board, &order_at) >= 2) {
      order_board &= 1;
      return;
    }
    order_time = INFINITY;
  }
}

int main(int argc, char **argv) {
  if (argc < 4 || argc > 5 || !(script = fopen(argv[2], "r"))) {
    fprintf(stderr, "usage: simulate SECONDS SCRIPT BOARD.elf[:PPM] [BOARD.elf[:PPM]]\n");
    return 2;
  }
  avr_global_logger_set(only_errors);
  double seconds = atof(argv[1]);
  board_count = argc - 3;
  for (int i = 0; i < board_count; i++) start_board(&boards[i], i, argv[3 + i]);
  if (board_count > 1) {
    for (int i = 0; i < 2; i++) avr_cycle_timer_register(boards[i].avr, SHORT_STEP, short_steps, NULL);
  }
  next_order();
  for (;;) {
    // The board that is behind goes first.
    Board *board = &boards[0];
    if (board_count > 1 && boards[1].avr->cycle / boards[1].hertz < board->avr->cycle / board->hertz) {
      board = &boards[1];
    }
    double now = board->avr->cycle / board->hertz;
    if (now >= seconds) return 0;
    if (now >= order_time) {
      obey(&boards[order_board], order + order_at);
      next_order();
      continue;
    }
    int state = avr_run(board->avr);
    if (state == cpu_Done || state == cpu_Crashed) {
      printf("state,%d,%llu,%s\n", board->number, (unsigned long long)board->avr->cycle,
             state == cpu_Done ? "done" : "crashed");
      return 1;
    }
  }
}
